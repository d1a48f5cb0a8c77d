package run

import (
	"cmp"
	"errors"
	"fmt"
	"maps"
	"slices"
	"time"
)

// Start is what a user says when starting a run.
type Start struct {
	Workload string
	Setting  Setting // unknown: the one declared before, or the one read
	Variant  Variant
	Note     string
	Typed    Typed
	By       string // what declares the setting, see Declaration
}

// Check tells why no run can be started with this.
func (s Start) Check() error {
	if err := CheckLabel("workload", s.Workload); err != nil {
		return err
	}
	if s.By != "" {
		if err := CheckLabel("by", s.By); err != nil {
			return err
		}
	}
	for k, v := range s.Variant.Pairs() {
		if err := checkVariantPair(k, v); err != nil {
			return err
		}
	}
	if err := s.Typed.Check(); err != nil {
		return err
	}
	return CheckNote(s.Note)
}

// Stop is what a user says when stopping one.
type Stop struct {
	// Run is the id of the run that is meant; "" is the one that is recording,
	// whichever that is.
	Run     string
	Results map[string]Result
	Note    string // is added to the run's note
	// Failure says what went wrong with what was run, which the finding
	// command_failed keeps; "": nothing is known to.
	Failure string
	By      string // what stops the run: a command, or other program; "" unknown
	// IfRecording has it fail where the run that is named has ended already.
	IfRecording bool
}

// Check tells why the run cannot be stopped with this. Of the run the note counts.
func (s Stop) Check(r Run) error {
	for name, r := range s.Results {
		if err := CheckResult(name, r); err != nil {
			return err
		}
	}
	if s.By != "" {
		if err := CheckLabel("by", s.By); err != nil {
			return err
		}
	}
	if len(s.Failure) > maxNote {
		return fmt.Errorf("failure has %d bytes: at most %d are allowed", len(s.Failure), maxNote)
	}
	return CheckNote(s.note(r))
}

// note is the run's note with what is added to it.
func (s Stop) note(r Run) string { return NoteText(r.Note + "\n" + s.Note) }

// Apply gives the run what the stop says of it. Whoever was told of the run before may
// still read the results it had.
func (s Stop) Apply(r *Run) {
	results := make(map[string]Result, len(r.Results)+len(s.Results))
	maps.Copy(results, r.Results)
	maps.Copy(results, s.Results)
	r.Results = results
	r.Note = s.note(*r)
	if f := s.Finding(); f != nil {
		r.Findings = append(slices.Clip(r.Findings), *f)
	}
}

// Finding is what the stop says against the run; nil for nothing.
func (s Stop) Finding() *Finding {
	if s.Failure == "" {
		return nil
	}
	return &Finding{Code: CommandFailed, Severity: SeverityDoubt, Text: VisibleLines(s.Failure)}
}

// Decision is what a user decides about a run that is kept.
type Decision string

const (
	Undecided Decision = ""
	Reject    Decision = "reject" // no comparison counts it
	Keep      Decision = "keep"   // undoes a rejection, by the user or by a finding, or counts an interrupted run
	Unkeep    Decision = "unkeep" // undoes the last Keep
	Trim      Decision = "trim"   // says up to where the run's watts count, see Trimming
	Untrim    Decision = "untrim" // undoes Trim
)

// CheckReason tells why a text cannot be the decision's reason; all but Reject and Keep need none.
func (d Decision) CheckReason(why string) error {
	if (d == Unkeep || d == Trim || d == Untrim) && why == "" {
		return nil
	}
	return CheckLabel("reason", why)
}

// Correction is what a user changes about a run that is kept.
type Correction struct {
	Results map[string]NewResult
	// Findings replace the run's findings of the same code; nil removes them without a
	// replacement. They never change the run's state.
	Findings map[Code]*Finding
	Decision Decision
	Trimming *Trimming // of Trim and Untrim
	Why      string    // of the decision, or of the changes
	At       time.Time

	// FindingWhy is set where the decision follows from findings that were judged again,
	// and says which.
	FindingWhy string
	// Changes are what was typed of the run and is corrected. Each finds what it
	// corrects, or none is made (ErrChanged).
	Changes []Change
	// Batch names what is corrected together and can be taken back together, in every
	// file: NewID makes one. Where it is empty, only results that are replaced are kept
	// as a correction.
	Batch  string
	Undoes string // the batch that is taken back
	Who    string // typed it, as the system calls them; "" unknown
	// System is the whole device's power as it is judged again with other labels; nil
	// leaves it.
	System *SystemPower
}

// SystemPower is the whole device's power, W; nil where it is unknown.
type SystemPower struct{ Watts *float64 }

// NewResult is a result that is added to a run, or replaces one.
type NewResult struct {
	Result
	// KeepBetter keeps the direction (Better) of the result that is replaced; that of
	// the new one then counts only where the run has no such result.
	KeepBetter bool
}

// Check tells why no run can be corrected like this.
func (c Correction) Check() error {
	for name, r := range c.Results {
		if err := CheckResult(name, r.Result); err != nil {
			return err
		}
	}
	if c.Who != "" {
		if err := CheckLabel("name of who corrects", c.Who); err != nil {
			return err
		}
	}
	if c.Batch != "" || c.Undoes != "" || len(c.Changes) > 0 {
		if err := c.checkBatch(); err != nil {
			return err
		}
	}
	switch c.Decision {
	case Undecided:
		return nil
	case Trim, Untrim:
		if c.Trimming == nil || !(c.Trimming.EndS > 0) {
			return errors.New("a trimming has no end")
		}
		return c.Decision.CheckReason(c.Why)
	case Reject, Keep, Unkeep:
		return c.Decision.CheckReason(c.DecisionWhy())
	}
	return fmt.Errorf("decision %q is neither reject nor keep, nor unkeep, trim or untrim", c.Decision)
}

// DecisionWhy is the reason of the decision; of a trimming also up to where the run counts
// and who says so, where that is known.
func (c Correction) DecisionWhy() string {
	why := cmp.Or(c.FindingWhy, c.Why)
	if c.Trimming == nil || c.Who == "" {
		return why
	}
	what := "by " + c.Who
	if c.Decision == Trim {
		what = fmt.Sprintf("up to %.1f s by %s", c.Trimming.EndS, c.Who)
	}
	if why != "" {
		what += ": " + why
	}
	return what
}

func (c Correction) checkBatch() error {
	if err := CheckID(c.Batch); err != nil {
		return fmt.Errorf("correction %q: %w", Shorten(c.Batch), err)
	}
	if c.Undoes != "" {
		if err := CheckID(c.Undoes); err != nil {
			return fmt.Errorf("correction %q: %w", Shorten(c.Undoes), err)
		}
	}
	if c.Why != "" {
		if err := CheckLabel("reason", c.Why); err != nil {
			return err
		}
	}
	scratch := Run{Results: map[string]Result{}, Facts: map[string]string{}}
	for _, x := range c.Changes {
		if err := x.Apply(&scratch); err != nil {
			return err
		}
	}
	return nil
}

// Want is what the next run needs of the device.
type Want struct {
	Supply    Supply  `json:"supply"`     // SupplyUnknown: any
	MinCharge float64 `json:"min_charge"` // charge that a run on battery needs, 0 to 1; 0: the reserve
	Setting   Setting `json:"setting"`    // that the run will declare; unknown: what is in force now
	Workload  string  `json:"workload"`   // "": any; tells how busy the device usually is when it starts
	Variant   Variant `json:"variant"`
}

// Readiness says whether a device is fit to start a run, and if not, why.
type Readiness struct {
	Fit     bool     `json:"fit"`
	Reasons []Reason `json:"reasons"`
	// Celsius is the temperature that decides, °C, and AboveBaseline how far it is above
	// its idle baseline, K; a run may start up to Target, °C. Nil while no baseline is known.
	Celsius       *float64 `json:"celsius"`
	AboveBaseline *float64 `json:"above_baseline"`
	Target        *float64 `json:"target"`
	// ExpectedS is the time after which waiting will have helped, s: 0 where the device is
	// fit, nil where it is not known or nothing goes by waiting.
	ExpectedS *float64 `json:"expected_s"`
}

// Reason is why a device is not fit to start a run: most are findings that a run
// started now would have.
type Reason struct {
	Finding
	// ByHand tells that it never goes by waiting: somebody has to do something.
	ByHand bool `json:"by_hand"`
	// Value is what is so now, Target what it has to be, both in Unit; nil where that is
	// no number. ExpectedS is the time until then, s; nil where it is not known.
	Value     *float64 `json:"value"`
	Target    *float64 `json:"target"`
	Unit      string   `json:"unit"`
	ExpectedS *float64 `json:"expected_s"`
}

// ByHand tells whether nothing of what keeps the device from being fit goes by waiting.
func (r Readiness) ByHand() bool {
	for _, x := range r.Reasons {
		if !x.ByHand {
			return false
		}
	}
	return !r.Fit
}

// Errors that callers branch on.
var (
	// ErrRecording: another run is recording, or this one still is.
	ErrRecording = errors.New("a run is recording: stop it first (sweepd run stop)")
	// ErrNotRecording: there is no run to stop.
	ErrNotRecording = errors.New("no run is recording: start one (sweepd run start --workload NAME)")
	// ErrEnded: the run that is to be stopped is not the one that is recording.
	ErrEnded = errors.New("the run is not recording")
	// ErrNoRun: no run has the given id.
	ErrNoRun = errors.New("no such run")
	// ErrRefused is wrapped where sweeps will never be stored, however often it is
	// tried: infinite values, say. Others may go through later.
	ErrRefused = errors.New("cannot be stored")
)
