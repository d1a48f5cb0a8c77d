package testday

import (
	"context"
	"time"

	"sweepd/run"
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
	}
	return correct(ctx, s, d.ID, run.Correction{Decision: what, Why: why, At: now})
}

// CheckReason tells why a text cannot be the reason of a decision.
func CheckReason(what run.Decision, why string) error { return requestError(what.CheckReason(why)) }
