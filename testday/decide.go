package testday

import (
	"context"
	"time"

	"sweepd/run"
)

// Decide rejects a run, so that no comparison counts it, keeps one that was rejected or
// interrupted, or takes the last keeping back; why is the reason, which is kept with it.
// id is any part that only one run has, or "last".
func Decide(ctx context.Context, s Corrections, id string, what run.Decision, why string, now time.Time) (run.Record, error) {
	if err := CheckReason(what, why); err != nil {
		return run.Record{}, err
	}
	d, err := s.Run(ctx, id)
	if err != nil {
		return d, err
	}
	return correct(ctx, s, d.ID, run.Correction{Decision: what, Why: why, At: now})
}

// CheckReason tells why a text cannot be the reason of a decision.
func CheckReason(what run.Decision, why string) error { return requestError(what.CheckReason(why)) }
