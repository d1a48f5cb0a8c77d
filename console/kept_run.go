package console

import (
	"context"

	"sweepd/run"
	"sweepd/store"
)

// KeptRun is all that is kept of a run, with what was corrected and decided since:
// GET /api/v1/runs/ID.
type KeptRun struct {
	run.Record
	History store.History `json:"history"`
}

// ReadRun reads a run. id is any part that only one run has, or "last".
func ReadRun(ctx context.Context, s Store, id string) (k KeptRun, err error) {
	d, err := s.Run(ctx, id)
	if err != nil {
		return k, err
	}
	k.Record = Detail(d)
	k.History, err = s.History(ctx, d.ID)
	return k, err
}
