package store

import (
	"context"
	"errors"
	"fmt"
	"iter"
	"time"

	"sweepd/run"
	"sweepd/schedule"
)

// Store is all that a store does.
type Store interface {
	Recorder
	Runs
	Readings
	AnalysisRuns
	Corrector
	Importer
	Plans
	Outcomes
	Declarations
	Checker

	// Upkeep drops idle readings older than keepIdle, counted from now, but for the few
	// that later ones go on from; 0 keeps all. Then it tidies up. Runs are never dropped.
	Upkeep(ctx context.Context, keepIdle time.Duration, now time.Time) error
}

// Recorder keeps what an agent records.
type Recorder interface {
	// BeginRun stores a run in state recording; it is on disk when BeginRun returns.
	BeginRun(context.Context, run.Record) error
	// Append stores sweeps of a run, or idle ones. Values are kept to the sensor's
	// resolution, monotonic time to the microsecond, boot and wall time within 20 us.
	// Infinite values and sensors of a run that changed place are refused
	// (run.ErrRefused), and nothing of the batch is stored. A power cut loses less than
	// the last 30 s of sweeps.
	Append(context.Context, run.Batch) error
	// FinishRun stores a judged run; it is on disk when FinishRun returns. Results
	// stored meanwhile stay unless the record has one of the same name; those stored after
	// the run's end stay in any case, and what the record has instead goes to the history.
	// With any result there is no finding that one is missing. Facts stay where the record
	// has none. run.ErrEnded where the run is finished already, run.ErrNoRun where it never
	// began.
	FinishRun(context.Context, run.Record) error
	// Unfinished are the runs that a crash left recording and that the agent of this
	// device is to end: its own, and those that no other agent can be recording.
	Unfinished(ctx context.Context, device string) ([]run.Record, error)
	// CheckPlace tells why what is stored now would not be found again, as where the data
	// was moved or deleted while it is open. Whatever stores refuses then.
	CheckPlace(context.Context) error
}

// Last is what a user may type for the run that was recorded last: into this store, in
// the order of recording, whatever their times; imported and merged runs never are it.
const Last = run.Last

// Runs gives runs as they are listed and shown. As everywhere, a run has no SystemW where
// run.NoSystemPower says why, whatever version stored it.
type Runs interface {
	// Runs lists the selected runs in the order of their start.
	Runs(context.Context, Filter) ([]run.Run, error)
	// Records are the selected runs with all that is kept of them but sweeps, in the
	// order of their start.
	Records(context.Context, Filter) ([]run.Record, error)
	// Run is one run with all that is kept of it but sweeps. id may be Last, a full id,
	// or a part that names it, see run.NamedBy. run.ErrNoRun and ErrAmbiguous
	// say that it fits none or several.
	Run(ctx context.Context, id string) (run.Record, error)
	// LastOf is the selected run that started last, with all that is kept of it but sweeps;
	// run.ErrNoRun where none is selected. It takes less time than Records does.
	LastOf(context.Context, Filter) (run.Record, error)
	// FindRun gives the full id of a run, see Run.
	FindRun(ctx context.Context, id string) (string, error)
	// History tells what was corrected and decided. id is a full one.
	History(ctx context.Context, id string) (History, error)
	// Devices lists the devices that have runs, in the order of their names.
	Devices(context.Context) ([]DeviceRuns, error)
	// Words are the names that were seen.
	Words(context.Context) (Words, error)
}

// DeviceRuns is what a store has of one device.
type DeviceRuns struct {
	Device      string
	Runs        int
	First, Last time.Time // starts; zero where unknown
	// Machines are those that the facts of its runs tell of; more than one are two
	// devices of one name.
	Machines run.Machines
}

// Readings gives what was swept.
type Readings interface {
	// Trace opens the sweeps stored for a run; a run without any has an empty one. id is
	// a full one.
	Trace(ctx context.Context, id string) (run.Trace, error)
	// IdleSweeps walks the idle sweeps stored for the device since a moment.
	IdleSweeps(ctx context.Context, device string, since time.Time) (run.Trace, error)
}

// AnalysisRuns gives runs as the analysis takes them: of a setting not where it is
// known from, of findings only the codes, of the discharge only watts and uncertainty; and
// with the conditions at start and end. The runs may share maps; they are to be read
// only.
type AnalysisRuns interface {
	// AnalysisRuns are the selected runs that finished and that nobody rejected, in the
	// order of their start.
	AnalysisRuns(context.Context, Filter) ([]run.Run, Skipped, error)
	// SwitchedOff are the selected runs on battery that were interrupted, as where the
	// device ran until it switched off: measured runtimes, if their charge says so.
	SwitchedOff(context.Context, Filter) ([]run.Run, error)
}

// Skipped counts the selected runs that the analysis does not take, and names those that
// it cannot. Of a damaged run nobody knows whether it was selected.
type Skipped struct {
	Recording, Interrupted, Rejected int
	Damaged                          []string // ids of those whose labels, watts or results are damaged
}

// Corrector changes runs that are kept.
type Corrector interface {
	// Correct changes a run and returns it as it is then, which is on disk. id is a
	// full one; run.ErrNoRun where there is no such run.
	//
	// A result that is replaced goes to the history, and with any result there is no
	// finding that one is missing. Rejecting a run again gives it another reason;
	// ErrStillRecording while it is recording. Keeping makes it again what it was before it
	// was rejected, and an interrupted one a finished one, see run.KeepInterrupted;
	// ErrNotRejected where it is neither, run.ErrNoSweep where nothing of it is known.
	// Unkeeping undoes the last keeping; ErrNotKept where there is none.
	Correct(ctx context.Context, id string, c run.Correction) (run.Record, error)
	// CorrectAll makes corrections of several runs, all or none, and returns the runs as
	// they are then. run.ErrChanged where a change does not find what it corrects;
	// ErrStillRecording where labels of a run that is recording are changed.
	CorrectAll(ctx context.Context, list []RunCorrection) ([]run.Record, error)
	// Batches lists what was corrected together, the oldest first.
	Batches(context.Context) ([]Batch, error)
	// SetReadings puts readings of one more sensor beside those stored of a run that has
	// ended: one value for each of its sweeps, NaN where missing; without values it takes the
	// sensor's readings out again, and what is left is as it was before. With them it stores
	// the summaries and the watts of the whole device of d, the run as it is then.
	// run.ErrRefused where the run has not as many sweeps, or damaged ones.
	SetReadings(ctx context.Context, d run.Record, s run.Sensor, values []float64) error
	// SetUnlike stores which of the selected runs differ from their like, by id and text, as
	// findings of that kind, in place of what was stored before. It reports whether anything
	// changed.
	SetUnlike(ctx context.Context, f Filter, kind Unlike, texts map[string]string) (changed bool, err error)
}

// Unlike is a kind of finding that depends on other runs.
type Unlike struct {
	Code     run.Code
	Severity run.Severity
}

// The kinds of finding that depend on other runs.
var (
	Outlying         = Unlike{run.Outlying, run.SeverityNote}          // a result
	ConditionsDiffer = Unlike{run.ConditionsDiffer, run.SeverityDoubt} // what the device says of itself
)

// Importer takes over runs from elsewhere.
type Importer interface {
	// Import stores the runs that a sequence gives, all or none. source is the file that
	// they are of, for Imports to tell. Runs whose id or one of whose former ids is known
	// are left as they are and counted as known; those of an import that was taken back
	// come back as they were, and are counted as added. An error that the sequence gives
	// ends it: nothing is stored, and the error is returned as it is. progress may be
	// nil; it counts runs.
	//
	// The sequence may be walked on a goroutine of its own, which ends before Import
	// does. It should not have to wait for anything, since writers wait meanwhile, and
	// the runs that it gives must stay as they are.
	Import(ctx context.Context, source string, runs iter.Seq2[*run.Record, error], progress func(done int)) (added, known int, err error)
	// Merge takes over all runs of another data file, or folder, with their readings,
	// results, facts and history, and the idle readings. Of runs that are here already it
	// takes the corrections: what was corrected last counts, thing by thing. Those that
	// differ otherwise are left as they are, and the report says how. Those that break the
	// rules of import (run.Record.CheckImported) or are damaged are left out, and the
	// report says why. Merging again adds nothing. A reader sees all that is new or nothing
	// of it; after an error nothing of it is there, but idle readings. progress may be nil;
	// it counts runs. Where another machine there has the name of a device here, by the
	// facts of its runs, nothing is merged and the error is an *OtherMachineError; same
	// names the devices that are one machine all the same.
	Merge(ctx context.Context, path string, progress func(done, total int), same ...string) (MergeReport, error)
	// Imports lists the imports and merges that brought runs, the oldest first.
	Imports(context.Context) ([]Import, error)
	// NameImport says what file an import or merge read, where that came by another name.
	NameImport(ctx context.Context, id int64, source string) error
	// TakeBack hides the runs of an import or merge, as if they were not there, or has
	// them back. ErrNoImport where there is none, ErrTakenBack where it is so already.
	TakeBack(ctx context.Context, id int64, back bool, at time.Time) error
}

// Import is one that was done.
type Import struct {
	ID      int64         `json:"id"`
	At      run.Timestamp `json:"at"`     // zero: unknown
	Source  string        `json:"source"` // the file; "" unknown
	Runs    int           `json:"runs"`
	TakenAt run.Timestamp `json:"taken_back_at"` // zero: its runs are there
}

// MergeReport says what Merge did.
type MergeReport struct {
	Import    int64      // the merge, as Imports lists it
	Added     int        // runs that are new here
	Known     int        // runs that are here already, with all that the other file has of them
	Corrected []string   // runs that are here, and were corrected there
	Overruled []Conflict // those of them that were corrected here too, to another end: the later one counts
	Unjudged  []string   // those of them whose findings are to be judged again
	Recording []string   // runs that the other file is still recording: not taken
	Conflicts []Conflict // runs that are here with other content: not touched
	Bad       []BadRun   // runs that cannot be taken over
	Rows      int        // rows of readings that are new here
}

// BadRun is a run that cannot be taken over, and why.
type BadRun struct{ Run, Why string }

// OtherMachineError says that two machines have one name, so that their runs would become
// one device's.
type OtherMachineError struct {
	Device string // in both files
	Why    string // it is not the same machine
}

func (e *OtherMachineError) Error() string {
	return fmt.Sprintf("%s is one machine here and another there, %s, so nothing was merged: give one of them another name first, this one with `sweepd device rename %s NEW`, the other one with the same where its data is (--data FOLDER); if they are one all the same, say so with --same-device %s",
		e.Device, e.Why, e.Device, e.Device)
}

// Conflict is a run that two stores tell differently.
type Conflict struct {
	Run         string
	Differences []string // "results: fps_mean is 60 fps here, 61 fps there"
}

// Plans keeps plans of test days.
type Plans interface {
	// NewPlan keeps a plan, which is in force from then on. It returns the plan's id: a new
	// one, or where it has one already, that: an earlier plan is taken up again.
	NewPlan(context.Context, schedule.Plan) (id int64, err error)
	// ExtendPlan keeps what was appended to a plan that Plan gave for the same devices.
	// It refuses if that is another one by now or was changed meanwhile: p then has to be
	// read anew. before is how many slots it had.
	ExtendPlan(ctx context.Context, p schedule.Plan, before int, devices ...string) error
	// Plan is the one in force: the newest that has a slot for any of the devices, or
	// the newest of all where none is named. ErrNoPlan where there is none.
	Plan(ctx context.Context, devices ...string) (schedule.Plan, error)
	// AllPlans are those ever made, once each, the oldest first.
	AllPlans(context.Context) ([]schedule.Plan, error)
	// RenameInPlans gives a device another name in all plans, and says in how many; with
	// dryRun nothing is changed.
	RenameInPlans(ctx context.Context, old, name string, dryRun bool) (plans int, err error)
}

// Outcomes keeps how the entries of the schedule went.
type Outcomes interface {
	// KeepOutcome keeps how an entry of the schedule went, in the place of the time
	// before.
	KeepOutcome(context.Context, schedule.Outcome) error
	// Outcomes are how the entries of the schedule went when they were due last, by
	// their names.
	Outcomes(context.Context) (map[string]schedule.Outcome, error)
}

// Declarations keeps the settings that people declared, across restarts.
type Declarations interface {
	// KeepDeclaration keeps the setting declared for a device, in the place of the one
	// before; an unknown one leaves none. It is on disk when KeepDeclaration returns.
	KeepDeclaration(ctx context.Context, device string, d run.Declaration) error
	// Declaration is the one in force for a device; its setting is unknown where there is
	// none.
	Declaration(ctx context.Context, device string) (run.Declaration, error)
}

// Errors that callers branch on, beside run.ErrNoRun and run.ErrRefused.
var (
	// ErrAmbiguous is returned where part of an id fits several runs.
	ErrAmbiguous = errors.New("fits several runs")
	// ErrStillRecording is returned for what cannot be done to a run that is still being
	// recorded.
	ErrStillRecording = errors.New("the run is still recording: stop it first")
	// ErrNotTrimmed is returned for taking back a trimming where there is none.
	ErrNotTrimmed = errors.New("the run is not trimmed")
	// ErrNotRejected is returned for keeping a run that counts as it is.
	ErrNotRejected = errors.New("the run is not rejected, nor interrupted: there is nothing to keep")
	// ErrNotKept is returned for undoing a keeping that never was, or was undone.
	ErrNotKept = errors.New("nothing to undo: what was decided of the run last is no `run keep`")
	// ErrNoImport is returned where an import is named that there is not.
	ErrNoImport = errors.New("there is no such import: `sweepd import --list` lists them")
	// ErrTakenBack is returned for taking back what was taken back, or having back what
	// is there.
	ErrTakenBack = errors.New("it is so already")
	// ErrNoPlan is returned where no plan was made yet.
	ErrNoPlan = errors.New("there is no plan: make one with `sweepd plan new`")
)
