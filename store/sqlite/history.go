package sqlite

import (
	"context"
	"fmt"

	"sweepd/run"
	"sweepd/store"
)

// History tells what was corrected and decided, see store.Runs.
func (s *Store) History(ctx context.Context, id string) (store.History, error) {
	r, err := s.readRuns(ctx, selection{where: "id = ?", args: []any{id}, named: true}.and(s.kept()), whole)
	if err == nil && len(r.runs) == 0 {
		err = fmt.Errorf("run %s: %w", id, run.ErrNoRun)
	}
	if err != nil {
		return noHistory(), s.fail("reading a run of", err)
	}
	return r.others[0].history, nil
}

func noHistory() store.History {
	return store.History{Results: []store.OldResult{}, Decisions: []store.Decided{}}
}
