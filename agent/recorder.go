package agent

import (
	"context"
	"time"

	"sweepd/run"
)

// Recorder keeps runs and sweeps. Calls come from one goroutine at a time.
type Recorder interface {
	// BeginRun stores a run in state recording with its facts. It must be on
	// disk when BeginRun returns.
	BeginRun(ctx context.Context, d run.Record) error
	// Append stores sweeps; when it returns, a killed agent loses none of them.
	Append(ctx context.Context, b run.Batch) error
	// Trace opens the sweeps stored for a run.
	Trace(ctx context.Context, runID string) (run.Trace, error)
	// FinishRun stores a judged run: state, duration, results, findings,
	// summaries and discharge. Results stored for the run meanwhile are kept
	// unless d has one of the same name.
	FinishRun(ctx context.Context, d run.Record) error
	// Correct changes what is stored of a run, while it is recording too.
	Correct(ctx context.Context, runID string, c run.Correction) (run.Record, error)
	// Unfinished are the runs that a crash left recording and that the agent of this
	// device is to end.
	Unfinished(ctx context.Context, device string) ([]run.Record, error)
	// KeepDeclaration keeps the setting that was declared for the device; an unknown one
	// leaves none. Any goroutine may call it.
	KeepDeclaration(ctx context.Context, device string, d run.Declaration) error
	// CheckPlace tells why what is stored now would be found by nobody. Any goroutine may
	// call it.
	CheckPlace(ctx context.Context) error
}

// IdleHistory gives the device's own baseline to the checks before a run, across
// restarts. It is read while the Recorder stores.
type IdleHistory interface {
	// IdleSweeps walks the idle sweeps stored for the device since a moment.
	IdleSweeps(ctx context.Context, device string, since time.Time) (run.Trace, error)
}
