package sqlite

import (
	"context"

	"sweepd/store"
)

// History tells what was corrected and decided, see store.Runs.
func (s *Store) History(ctx context.Context, id string) (store.History, error) {
	r, err := s.readRun(ctx, id)
	if err != nil {
		return noHistory(), s.fail("reading a run of", err)
	}
	return r.others[0].history, nil
}

func noHistory() store.History {
	return store.History{Results: []store.OldResult{}, Decisions: []store.Decided{}, Corrections: []store.Corrected{}}
}
