package testday

import (
	"context"
	"io"
	"slices"
	"time"

	"sweepd/analysis"
	"sweepd/judge"
	"sweepd/report"
	"sweepd/run"
	"sweepd/store"
)

// Thresholds decide when something becomes a finding.
type Thresholds = judge.Thresholds

// Needs is the right that an operation needs of whoever asks an agent for it.
type Needs string

const (
	// NeedsNothing is for reading, and for what is done on a test day: everybody on the
	// device may.
	NeedsNothing Needs = "nothing"
	// NeedsRight is for what changes runs that are kept, or takes runs over: the agent's
	// own user may, root, and who is in the group of the data.
	NeedsRight Needs = "right"
)

// Opens says how an operation opens the data.
type Opens int

const (
	OpensToRead Opens = iota
	OpensToWrite
	OpensNothing
)

// Day is what an operation works on: the data, the agent that records into it, what the
// configuration of whoever holds the data says, and what comes and goes as bytes.
type Day struct {
	Store      store.Store
	Lower      []string           // results of which less is better
	Prices     map[string]float64 // of devices
	Published  report.Publication // what stands on every report
	Version    string             // the program's
	Thresholds Thresholds         // of findings that are judged again
	// FramesShort is the share of a run that its frame times should cover; 0 means
	// judge.DefaultFramesShort.
	FramesShort float64
	// Dir is the folder of the data, also for files while they are taken over.
	Dir string
	// Now is in the zone of whoever asks: days such as "today" are there.
	Now time.Time
	// Device is the name of the device that is watched here, or would be.
	Device func() (string, error)
	// Status is what the agent is doing; it fails where there is none.
	Status func() (Status, error)
	// RenameWatched has the agent record by another name of the device, if it does so by
	// the first one now; nil where another process is to be told.
	RenameWatched func(ctx context.Context, from, to string) (bool, error)
	// Actuators tells what of the watched device can be set; nil: nothing is known of it.
	Actuators ActuatorOffers
	// Publish has whoever follows runs hear of what change did to one.
	Publish func(change func() (run.Event, error)) error
	// Progress is told how far long work is.
	Progress func(done, total int)
	In       io.Reader // what the operation takes as bytes
	Out      io.Writer // where it gives what it gives as bytes
}

// lower are the names of results of which less is better, with those that are asked for.
func (d *Day) lower(asked []string) []string { return slices.Concat(d.Lower, asked) }

// PricesOr are those that are asked for, else those of the configuration.
func (d *Day) PricesOr(asked []string) (p analysis.Prices, err error) {
	if len(asked) == 0 {
		return analysis.Prices{ByDevice: d.Prices}, nil
	}
	return ParsePrices(asked)
}

// About describes an operation: where an API has it, and what it is.
type About struct {
	Method, Path string // GET and POST; {id} in a path stands for that field of the request
	Summary      string
	Needs        Needs
	Opens        Opens
	Most         int64 // bytes of the JSON of a request; 0: some 64 KiB
	// Takes and Gives are the media types of what travels as bytes: a body beside the
	// request, and in the place of an answer. Empty where nothing does.
	Takes, Gives string
}

// Operation is one thing that a person does or asks, from a request to an answer: in
// this process on data that is open, or by an agent that holds the data. Request and
// answer are plain data, whose JSON is the same in both.
type Operation[Q, A any] struct {
	About
	Do func(context.Context, *Day, Q) (A, error)
}

// AnyOperation is an Operation whatever its types.
type AnyOperation interface {
	Described() About
	NewRequest() any // a pointer to one
	NewAnswer() any  // a pointer to one
	// Run takes what NewRequest gave and returns an answer.
	Run(ctx context.Context, d *Day, request any) (any, error)
}

// Nothing is the answer of an operation that gives none, or bytes.
type Nothing struct{}

func (o *Operation[Q, A]) Described() About { return o.About }
func (o *Operation[Q, A]) NewRequest() any  { return new(Q) }
func (o *Operation[Q, A]) NewAnswer() any   { return new(A) }

func (o *Operation[Q, A]) Run(ctx context.Context, d *Day, request any) (any, error) {
	return o.Do(ctx, d, *request.(*Q))
}

// Operations are all that there are.
func Operations() []AnyOperation {
	return []AnyOperation{
		ListRuns,
		ShowRun,
		TrimRun,
		FindDoubts,
		CompareRuns,
		FindCurve,
		FindBattery,
		NextRun,
		ShowPlan,
		WritePlan,
		PlansMade,
		MakePlan,
		CheckNames,
		TakeUpPlan,
		ExtendPlan,
		PlanNextStart,
		LimitOfRun,
		DrawReport,
		DrawReportOfFrames,
		ExportTable,
		ExportRecords,
		CheckData,
		ScheduleWent,
		MergeFile,
		DayStands,
		ImportTable,
		ListDevices, JoinMeter,
		CorrectRuns, UndoCorrection, ListCorrections, ListImports, TakeImportBack,
		Rename,
		AddResults,
		RecentCourse,
		ListActuators,
	}
}

// Kinds are the errors that callers branch on and that are plain data: they keep their
// kind on the way from an agent. An error's Kind is a word that no other has.
func Kinds() []interface {
	error
	Kind() string
} {
	return []interface {
		error
		Kind() string
	}{&ReplacesError{}, &NamesError{}, &UnfitError{}, &ConsentError{}}
}

// RunRequest names a run by any part of its id that only one has, or "last".
type RunRequest struct {
	ID string `json:"id"`
}
