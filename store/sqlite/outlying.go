package sqlite

import (
	"context"
	"database/sql"
	"maps"

	"sweepd/run"
	"sweepd/store"
)

// SetOutlying stores which of the selected runs differ from their repeats, by
// id and text, in place of what was known before. It reports whether anything
// changed.
func (s *Store) SetOutlying(ctx context.Context, f store.Filter, texts map[string]string) (changed bool, err error) {
	known, err := s.outlying(ctx, f)
	if err != nil || maps.Equal(known, texts) {
		return false, err
	}
	chosen := selected(f)
	return true, s.fail("storing findings in", s.commit(ctx, false, func(tx *sql.Tx) error {
		w := newRunWriter(ctx, tx)
		if _, err := w.exec(`DELETE FROM findings WHERE code = '`+string(run.Outlying)+`' AND run IN (SELECT n FROM runs WHERE `+chosen.where+`)`, chosen.args...); err != nil {
			return err
		}
		for id, text := range texts {
			if _, err := w.exec(`INSERT INTO findings SELECT n, (SELECT coalesce(max(position), -1) + 1 FROM findings WHERE run = n), ?, ?, ?, NULL
				FROM runs WHERE id = ?`, string(run.Outlying), string(run.SeverityNote), text, id); err != nil {
				return err
			}
		}
		return nil
	}))
}

func (s *Store) outlying(ctx context.Context, f store.Filter) (map[string]string, error) {
	runs, err := s.Runs(ctx, f)
	if err != nil {
		return nil, err
	}
	texts := map[string]string{}
	for _, r := range runs {
		for _, finding := range r.Findings {
			if finding.Code == run.Outlying {
				texts[r.ID] = finding.Text
			}
		}
	}
	return texts, nil
}
