package sqlite

import (
	"context"
	"database/sql"
	"fmt"
	"maps"

	"sweepd/run"
	"sweepd/store"
)

// SetUnlike stores which runs differ from their like, see store.Corrector.
func (s *Store) SetUnlike(ctx context.Context, f store.Filter, kind store.Unlike, texts map[string]string) (changed bool, err error) {
	before, err := s.unlike(ctx, f, kind.Code)
	if err != nil || maps.Equal(before, texts) {
		return false, err
	}
	return true, s.fail("storing findings in", s.commit(ctx, false, func(tx *sql.Tx) error {
		w := newRunWriter(ctx, tx)
		changed := maps.Clone(before)
		maps.Copy(changed, texts)
		for id := range changed {
			n, _, err := runState(ctx, tx, id, keptRuns)
			if err != nil {
				return err
			}
			var f *run.Finding
			if text, is := texts[id]; is {
				f = &run.Finding{Code: kind.Code, Severity: kind.Severity, Text: text}
			}
			if err := w.change(n, func(*run.Record) error { return w.replaceFinding(n, kind.Code, f) }); err != nil {
				return fmt.Errorf("run %s: %w", id, err)
			}
		}
		return nil
	}))
}

// unlike are the texts of the findings of a kind that SetUnlike stored, by the runs' ids.
func (s *Store) unlike(ctx context.Context, f store.Filter, code run.Code) (map[string]string, error) {
	runs, err := s.Runs(ctx, f)
	if err != nil {
		return nil, err
	}
	texts := map[string]string{}
	for _, r := range runs {
		for _, finding := range r.Findings {
			if finding.Code == code {
				texts[r.ID] = finding.Text
			}
		}
	}
	return texts, nil
}
