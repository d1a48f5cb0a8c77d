package run

import (
	"errors"
	"fmt"
	"math"
	"strings"
)

// Last is what a user may type for the run that was recorded last; no run has that id.
const Last = "last"

// CheckID tells why text cannot be a run's id: up to 64 printable characters of ASCII
// without spaces, and not Last.
func CheckID(text string) error {
	switch {
	case text == "" || len(text) > 64 || strings.ContainsFunc(text, func(r rune) bool { return r <= ' ' || r > '~' }):
		return errors.New("is no run id: want 1 to 64 printable characters without spaces")
	case strings.EqualFold(text, Last):
		return errors.New("is no run id: it means the run that was recorded last")
	}
	return nil
}

// Bounds of what is taken over from elsewhere, far above what any agent makes.
const (
	maxParts     = 1000      // results, findings or facts of a run
	maxSummaries = 20000     // of a run
	maxText      = 16 * 1024 // bytes of a note, a reason, a finding or a fact
)

// CheckImported tells why a record from elsewhere cannot be taken over, wherever it is
// from: a table and another store's data meet the same rules.
func (r *Record) CheckImported() error {
	if err := CheckID(r.ID); err != nil {
		return fmt.Errorf("run %q %w", Shorten(r.ID), err)
	}
	if err := r.checkImported(); err != nil {
		return fmt.Errorf("run %s: %w", r.ID, err)
	}
	return r.Check()
}

func (r *Record) checkImported() error {
	if err := errors.Join(CheckLabel("device", r.Device), CheckLabel("workload", r.Workload)); err != nil {
		return err
	}
	if v, err := ParseVariant(string(r.Variant)); err != nil {
		return err
	} else if v != r.Variant || len(v) > maxText {
		return fmt.Errorf("variant %q is too long, or its pairs are not in order", Shorten(string(r.Variant)))
	}
	if r.Supply != SupplyUnknown {
		if err := CheckSupply(string(r.Supply)); err != nil {
			return err
		}
	}
	switch r.State {
	case Finished, Interrupted, Rejected:
	case Recording:
		return fmt.Errorf("it is %q: only its own agent can record it", Recording)
	default:
		return fmt.Errorf("%q is no state of a run", Shorten(string(r.State)))
	}
	if err := r.Setting.CheckImported(); err != nil {
		return err
	}
	if r.SettingRead != nil {
		if err := r.SettingRead.CheckImported(); err != nil {
			return err
		}
	}
	for what, x := range map[string]*float64{"duration": r.DurationS, "warm-up": r.WarmUpS, "package power": r.PackageW, "end of the load": r.LoadEndS, "duration before trimming": r.WholeS} {
		if x != nil && !(*x >= 0) {
			return fmt.Errorf("%s is %v: want 0 or more", what, *x)
		}
	}
	if len(r.Results) > maxParts || len(r.Findings) > maxParts || len(r.Facts) > maxParts || len(r.Summaries) > maxSummaries {
		return fmt.Errorf("it has %d results, %d findings, %d facts, %d summaries: at most %d are allowed, of summaries %d",
			len(r.Results), len(r.Findings), len(r.Facts), len(r.Summaries), maxParts, maxSummaries)
	}
	return r.checkTexts()
}

func (r *Record) checkTexts() error {
	errs := []error{CheckText("note", r.Note), CheckText("reason", r.Why)}
	for _, f := range r.Findings {
		errs = append(errs, CheckLabel("code of a finding", string(f.Code)), CheckText("finding", f.Text))
		switch f.Severity {
		case SeverityNote, SeverityDoubt, SeverityReject:
		default:
			errs = append(errs, fmt.Errorf("%q is no severity of a finding", Shorten(string(f.Severity))))
		}
	}
	for name, value := range r.Facts {
		errs = append(errs, CheckLabel("name of a fact", name), CheckText("fact", value))
	}
	for i := range r.Summaries {
		x := &r.Summaries[i]
		errs = append(errs, Sensor{ID: x.Sensor, Instance: x.Instance, Unit: x.Unit}.CheckImported())
	}
	return errors.Join(errs...)
}

// CheckImported tells why a setting cannot be taken over. An unknown one can.
func (s SourcedSetting) CheckImported() error {
	if w, ok := s.Watts(); ok && !(w > 0 && w <= MaxSettingWatts) {
		return fmt.Errorf("setting of %v W: watts must be above 0 and at most %d", w, MaxSettingWatts)
	}
	for what, text := range map[string]string{"setting": s.Name(), "source of the setting": string(s.Source)} {
		if text != "" {
			if err := CheckLabel(what, text); err != nil {
				return err
			}
		}
	}
	return nil
}

// CheckImported tells why a sensor cannot be taken over.
func (s Sensor) CheckImported() error {
	if !(s.Resolution >= 0 && s.Resolution <= math.MaxFloat64) {
		return fmt.Errorf("sensor %q has a resolution of %v: want 0 or more", Shorten(s.ID), s.Resolution)
	}
	return errors.Join(CheckLabel("sensor", s.ID), CheckText("instance of a sensor", s.Instance), CheckText("unit of a sensor", s.Unit), CheckText("source of a sensor", s.Source))
}

// CheckText tells why text of several lines cannot be taken over, whichever way its
// lines end.
func CheckText(what, text string) error {
	if len(text) > maxText {
		return fmt.Errorf("%s has %d bytes: at most %d are allowed", what, len(text), maxText)
	}
	if text = NoteText(text); VisibleLines(text) != text {
		return fmt.Errorf("%s %q %s: use plain text", what, Shorten(text), unshowable)
	}
	return nil
}
