package store

import (
	"context"

	"sweepd/run"
)

// ReplaceFinding gives a run another finding of a kind in the place of those it
// has; nil takes them away. It is for what is found after a run was judged and
// never changes its state. id is a full one.
func (s *Store) ReplaceFinding(ctx context.Context, id string, code run.Code, f *run.Finding) error {
	return s.change(ctx, "storing a finding in", id, func(w *runWriter, n int64, _ run.State) error {
		if _, err := w.exec(`DELETE FROM findings WHERE run = ? AND code = ?`, n, string(code)); err != nil || f == nil {
			return err
		}
		_, err := w.exec(`INSERT INTO findings (run, position, code, severity, text, at)
			SELECT ?1, coalesce(max(position) + 1, 0), ?2, ?3, ?4, ?5 FROM findings WHERE run = ?1`,
			n, string(f.Code), string(f.Severity), f.Text, stampText(f.At))
		return err
	})
}
