package sqlite

import (
	"context"
	"database/sql"
	"testing"
	"time"

	"sweepd/store"
)

// A panic in the middle of a transaction, which a server survives, takes nothing with it
// but what the transaction did.
func TestPanicInATransaction(t *testing.T) {
	s := openTest(t)
	func() {
		defer func() {
			if recover() == nil {
				t.Error("the panic did not come through")
			}
		}()
		_ = s.commit(t.Context(), true, func(tx *sql.Tx) error {
			r := newRun("run-0001")
			if _, err := newRunWriter(t.Context(), tx).add(&r); err != nil {
				return err
			}
			panic("in the middle")
		})
	}()
	ctx, cancel := context.WithTimeout(t.Context(), 10*time.Second)
	defer cancel()
	must(t, s.BeginRun(ctx, newRun("run-0002")))
	runs, err := s.Runs(ctx, store.Filter{})
	must(t, err)
	if len(runs) != 1 || runs[0].ID != "run-0002" {
		t.Errorf("runs %v", runs)
	}
}
