package testday

import (
	"context"
	"errors"
	"fmt"
	"time"

	"sweepd/run"
	"sweepd/store"
)

// Decide rejects a run, so that no comparison counts it, keeps one that was rejected or
// interrupted, or whole that was idle at its end, or takes the last keeping back; why is the reason, which is kept with it.
// id is any part that only one run has, or "last".
func Decide(ctx context.Context, s Corrections, id string, what run.Decision, why string, now time.Time) (run.Record, error) {
	if err := CheckReason(what, why); err != nil {
		return run.Record{}, err
	}
	d, err := s.Run(ctx, id)
	if err != nil {
		return d, err
	}
	switch decided := d.HasFinding(run.IdleTail) && !d.TailUndecided() && d.WholeS == nil; {
	case what == run.Keep && d.State == run.Finished && d.TailUndecided():
		return keepTail(ctx, s, d, why, now)
	case what == run.Unkeep && d.State == run.Finished && decided:
		return trim(ctx, s, d, run.Untrim, wholeOf(&d), "", why, "", now)
	case what == run.Keep && d.State == run.Finished && d.WholeS != nil:
		return d, fmt.Errorf("run %s counts, up to %.1f s, for it was trimmed: `sweepd run trim %[1]s --undo` has all of it count", run.ShortID(d.ID), d.Seconds())
	}
	after, err := correct(ctx, s, d.ID, run.Correction{Decision: what, Why: why, At: now})
	if errors.Is(err, store.ErrNotRejected) {
		err = fmt.Errorf("run %s: %w", run.ShortID(d.ID), store.ErrNotRejected)
	}
	return after, err
}

// CheckReason tells why a text cannot be the reason of a decision.
func CheckReason(what run.Decision, why string) error { return requestError(what.CheckReason(why)) }
