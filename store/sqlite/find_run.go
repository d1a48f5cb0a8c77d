package sqlite

import (
	"context"
	"database/sql"
	"fmt"
	"slices"
	"strings"
	"time"

	"sweepd/run"
	"sweepd/store"
)

// maxCandidates is how many runs an ambiguous id is told to fit.
const maxCandidates = 5

// FindRun gives the full id of a run, see store.Runs.
func (s *Store) FindRun(ctx context.Context, id string) (string, error) {
	if id == store.Last {
		return s.lastRun(ctx)
	}
	var ids, found []string
	now := time.Now()
	err := each(ctx, s.read, func(rows *sql.Rows) error {
		var full, workload string
		var started sql.NullString
		if err := rows.Scan(&full, &workload, &started); err != nil {
			return err
		}
		ids = append(ids, full)
		when := "start unknown"
		if at, err := parseStamp(started.String); err == nil && !at.IsZero() {
			when = at.Short(now, time.Local)
		}
		found = append(found, fmt.Sprintf("%s (%s, %s)", run.ShortID(full), run.Shorten(workload), when))
		return nil
	}, `SELECT id, workload, started_at FROM runs
		WHERE `+s.kept()+` AND length(?1) > 0 AND (id = ?1 OR instr(lower(substr(id, -?2)), lower(?1))
			OR length(?1) >= ?3 AND lower(?1) IN (lower(substr(id, 1, length(?1))), lower(substr(id, -length(?1)))))
		ORDER BY id <> ?1, started_at DESC LIMIT ?4`, id, run.ShortIDLength, run.MinIDPart, maxCandidates+1)
	switch {
	case err != nil:
		return "", s.fail("looking for a run in", err)
	case len(ids) > 0 && ids[0] == id:
		return id, nil
	case len(found) == 0 && strings.EqualFold(id, store.Last):
		return s.lastRun(ctx)
	case len(found) == 0:
		return "", run.NoRun(id)
	case len(found) > 1:
		more := ""
		if len(found) > maxCandidates {
			found, more = found[:maxCandidates], ", ..."
		}
		return "", fmt.Errorf("run %q %w: %s%s: give more letters", id, store.ErrAmbiguous, strings.Join(found, ", "), more)
	}
	return ids[0], nil
}

// idOf is the id of the run n, after which nothing was recorded here. It notices where
// that is not certain: where a later run is gone, or is damaged and so perhaps only said to
// have been imported.
func (s *Store) idOf(ctx context.Context, n int64) (id string, err error) {
	err = inTx(ctx, s.read, func(tx *sql.Tx) error {
		r, err := s.readRunsIn(ctx, tx, selection{where: "n >= ?", args: []any{n}, named: true}, rowOnly)
		if err != nil {
			return err
		}
		at := slices.Index(r.numbers, n)
		if at < 0 { // it was found a moment ago
			return fmt.Errorf("%w: the file's run number %d", ErrDamaged, n)
		}
		id = r.runs[at].ID
		if s.version < 2 {
			return nil
		}
		lost, err := numbers(ctx, tx, lostRuns+" AND run > ?", n)
		s.noticeLost(lost)
		return err
	})
	return id, err
}

// lastRun is the id of the run that was recorded here last. An older version's file
// does not tell which were; there runs without facts are those of a table.
func (s *Store) lastRun(ctx context.Context) (string, error) {
	recorded := "import IS NULL"
	if s.version < 2 {
		recorded = "fact_set IS NOT NULL OR state = 'recording'"
	}
	var n sql.NullInt64
	var others int
	err := s.read.QueryRowContext(ctx, `SELECT (SELECT n FROM runs NOT INDEXED WHERE `+recorded+` ORDER BY n DESC LIMIT 1),
		EXISTS (SELECT 1 FROM runs WHERE `+s.kept()+`)`).Scan(&n, &others)
	switch {
	case err != nil:
		return "", s.fail("looking for a run in", err)
	case n.Valid:
		id, err := s.idOf(ctx, n.Int64)
		return id, s.fail("looking for a run in", err)
	case others > 0:
		return "", fmt.Errorf("run %q: %w that was recorded here: those that are here were imported or merged; name one by its id (`sweepd run list`)", store.Last, run.ErrNoRun)
	}
	return "", fmt.Errorf("run %q: %w yet", store.Last, run.ErrNoRun)
}
