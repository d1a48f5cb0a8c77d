package testday

import (
	"context"

	"sweepd/actuators"
	"sweepd/run"
	"sweepd/schedule"
)

// HandsOffAgent is an agent that does a plan by itself. Its day goes on whoever asked for
// it and whether they are still there.
type HandsOffAgent interface {
	// HandsOff is how the day stands; State is Idle where none goes on.
	HandsOff(context.Context) (HandsOff, error)
	// BeginHandsOff begins the day, or goes on with one that was stopped: the plan keeps
	// what is done. It fails where one goes on already, with the plan's or the actuators'
	// reasons, and with *ConsentError where nobody agreed yet.
	BeginHandsOff(context.Context, BeginHandsOff) (HandsOff, error)
	// PauseHandsOff pauses after the run in progress; the first values are put back
	// meanwhile. Pausing twice is pausing once.
	PauseHandsOff(ctx context.Context, q HandsOffRequest) (HandsOff, error)
	ResumeHandsOff(ctx context.Context, q HandsOffRequest) (HandsOff, error)
	// StopHandsOff ends the day after the run in progress, or at once with q.Now, which
	// ends the workload and rejects its run.
	StopHandsOff(ctx context.Context, q HandsOffRequest) (HandsOff, error)
	// DryRunHandsOff says what would be written where, with the present values; nothing
	// is written and nothing begins.
	DryRunHandsOff(context.Context, BeginHandsOff) (DryRun, error)
	// RunnerBeat is the runner's: it says what it does, and is told what to do. It waits up
	// to a second for something to tell. A runner that is not heard of for 5 s is lost.
	RunnerBeat(context.Context, Beat) (Order, error)
}

// HandsOffState is what a day without hands does at the moment.
type HandsOffState string

const (
	Idle     HandsOffState = "idle"     // no day goes on
	Waiting  HandsOffState = "waiting"  // for the device to be fit, or for a runner
	Hand     HandsOffState = "hand"     // for a person to do what Hand lists
	Setting  HandsOffState = "setting"  // a setting is applied
	Settling HandsOffState = "settling" // until the device holds it
	Running  HandsOffState = "running"  // a workload's run
	Cooling  HandsOffState = "cooling"  // between runs
	Paused   HandsOffState = "paused"   // by a person or by a guard, see Why
	Over     HandsOffState = "over"     // the day has ended, see Why and Summary
)

// HandsOff is how a day without hands stands. Lists are never nil, unknown is nil or "".
type HandsOff struct {
	State HandsOffState `json:"state"`
	// Text is what happens now, a sentence of at most 300 bytes; Why says why it is paused
	// or over.
	Text string `json:"text"`
	Why  string `json:"why"`
	// Hand is what a person has to do now, in order.
	Hand []string `json:"hand"`
	// Since is when State began.
	Since run.Timestamp `json:"since"`

	Plan     int64           `json:"plan"` // its id; 0 without a day
	Device   string          `json:"device"`
	BegunAt  *run.Timestamp  `json:"begun_at"`
	By       string          `json:"by"` // what asked for the day
	Slot     *schedule.Slot  `json:"slot"`
	Position int             `json:"position"` // of the slot in the plan, from 1
	Slots    int             `json:"slots"`
	Try      int             `json:"try"`      // of this slot, from 1
	Run      string          `json:"run"`      // that is recording
	Stopping bool            `json:"stopping"` // the day ends after this run
	Pausing  bool            `json:"pausing"`
	Progress schedule.Counts `json:"progress"`
	Skipped  []Skipped       `json:"skipped"`
	Hands    int             `json:"hands"`  // how often a person was needed so far
	Runner   *RunnerSeen     `json:"runner"` // nil: none is there
	// Changed is what differs from the first values now: what would be put back.
	Changed []actuators.Write `json:"changed"`
	// Told are the latest sentences about the day, oldest first; at most 50.
	Told    []Told   `json:"told"`
	Consent *Consent `json:"consent"` // nil: nobody agreed yet
	// Summary are sentences about a day that is over.
	Summary []string `json:"summary"`
}

// Skipped is a slot of the plan that the day gives up.
type Skipped struct {
	Position int    `json:"position"`
	Cell     string `json:"cell"` // in words
	Why      string `json:"why"`
}

// Told is a sentence and when it was said.
type Told struct {
	At   run.Timestamp `json:"at"`
	Text string        `json:"text"`
}

// Consent is that a person agreed, once for a device, that sweepd sets its power by itself.
type Consent struct {
	Device string        `json:"device"`
	At     run.Timestamp `json:"at"`
	By     string        `json:"by"`
}

// RunnerSeen is the program that carries out workloads.
type RunnerSeen struct {
	ID   string        `json:"id"`
	User string        `json:"user"` // that it says to run as
	Seen run.Timestamp `json:"seen"`
	Busy bool          `json:"busy"`
}

// BeginHandsOff asks for a day.
type BeginHandsOff struct {
	// Consent says that the person who asks has read the cautions and agrees.
	Consent bool   `json:"consent"`
	By      string `json:"by"`
	// Retry takes up slots that were skipped before.
	Retry bool `json:"retry"`
}

// HandsOffRequest asks something of a day.
type HandsOffRequest struct {
	By  string `json:"by"`
	Why string `json:"why"`
	Now bool   `json:"now"` // of a stop alone
}

// DryRun is what a day would do.
type DryRun struct {
	Writes []DryWrite `json:"writes"` // for each value that the plan needs, in the order of the plan
	// Hands are what a person would have to do, in words, and how often.
	Hands []DryHand `json:"hands"`
	// Lacks is why the day could not begin now, in sentences.
	Lacks []string `json:"lacks"`
	// Cautions are what whoever begins the day has read, see Cautions.
	Cautions  []string      `json:"cautions"`
	Workloads []DryWorkload `json:"workloads"`
	Slots     int           `json:"slots"`
	LeftS     float64       `json:"left_s"`
	Consent   *Consent      `json:"consent"`
}

// DryWrite is a value that the plan needs and what sets it, in the order of writing; Steps
// has several writes for a place where a large step upward is taken in several.
type DryWrite struct {
	Value  string            `json:"value"` // "25W", "cores=6"
	Steps  []actuators.Write `json:"steps"`
	Cannot string            `json:"cannot"` // why it cannot be set; "" where it can
}

// DryHand is something that a person does.
type DryHand struct {
	What  string `json:"what"`
	Times int    `json:"times"`
}

// DryWorkload is a workload and what carries it out.
type DryWorkload struct {
	Workload string   `json:"workload"`
	Command  []string `json:"command"`
	Cannot   string   `json:"cannot"`
}

// ConsentError is that nobody agreed yet that sweepd sets this device's power by itself.
type ConsentError struct {
	Device   string   `json:"device"`
	Cautions []string `json:"cautions"`
}

func (e *ConsentError) Error() string {
	return "nobody has agreed yet that sweepd sets the power of " + e.Device + " by itself: read the cautions, then ask again with consent"
}

// Kind is the word of this error on its way from an agent.
func (e *ConsentError) Kind() string { return "consent" }

// Job is a workload for the runner to carry out.
type Job struct {
	ID       string   `json:"id"` // of the job, given by the agent
	Run      string   `json:"run"`
	Workload string   `json:"workload"`
	Command  []string `json:"command"`
	// ResultFrom are rules as `run watch --result-from` takes them.
	ResultFrom []string `json:"result_from"`
	// TimeoutS is the longest that the command may take, s.
	TimeoutS float64 `json:"timeout_s"`
}

// Beat is what a runner says each second, and at once when something happened.
type Beat struct {
	Runner string `json:"runner"` // random, from its start
	User   string `json:"user"`
	// Job is the id of the job that it carries out, "" for none; Begun that its command,
	// or that of Done, was started.
	Job   string `json:"job"`
	Begun bool   `json:"begun"`
	// Done is a job that has ended. It is said until an answer confirms it.
	Done *JobDone `json:"done"`
	// Leaves says that the runner ends.
	Leaves bool `json:"leaves"`
}

// JobDone is how a job ended.
type JobDone struct {
	Job     string                `json:"job"`
	Failure string                `json:"failure"` // as `run watch` says it; "" for well
	Results map[string]run.Result `json:"results"`
	Missing string                `json:"missing"` // which results were not in the output, and why
	Tail    string                `json:"tail"`    // the last lines that it printed, at most 2 kB
	// LeftBehind says that processes had to be ended that outlived the command.
	LeftBehind bool    `json:"left_behind"`
	TookS      float64 `json:"took_s"`
}

// Order is what a runner is told.
type Order struct {
	Start *Job   `json:"start"` // nil: nothing
	End   string `json:"end"`   // id of the job to end now; "" for none
	// Heard is the id of the job whose Done was taken.
	Heard string `json:"heard"`
	// Why says why a runner is not wanted: another one is there.
	Why string `json:"why"`
}
