package sqlite

import (
	"context"
	"database/sql"
	"fmt"
	"strings"

	"sweepd/run"
	"sweepd/store"
)

// minPart is the shortest part of an id that names a run.
const minPart = 4

// maxCandidates is how many runs an ambiguous id is told to fit.
const maxCandidates = 5

// FindRun gives the full id of a run, see store.Runs.
func (s *Store) FindRun(ctx context.Context, id string) (string, error) {
	if id == store.Last {
		return s.lastRun(ctx)
	}
	var ids, found []string
	err := each(ctx, s.read, func(rows *sql.Rows) error {
		var full, started string
		err := rows.Scan(&full, &started)
		ids = append(ids, full)
		found = append(found, fmt.Sprintf("%s (%s)", full, started))
		return err
	}, `SELECT id, coalesce(started_at, 'start unknown') FROM runs
		WHERE `+s.kept()+` AND (id = ?1 OR length(?1) >= ?2 AND (substr(id, 1, length(?1)) = ?1 OR substr(id, -length(?1)) = ?1))
		ORDER BY id <> ?1, started_at DESC LIMIT ?3`, id, minPart, maxCandidates+1)
	switch {
	case err != nil:
		return "", s.fail("looking for a run in", err)
	case len(ids) > 0 && ids[0] == id:
		return id, nil
	case len(found) == 0 && len(id) < minPart:
		return "", fmt.Errorf("run %q: %w: give at least %d letters of its id, or %q", id, run.ErrNoRun, minPart, store.Last)
	case len(found) == 0:
		return "", fmt.Errorf("run %q: %w: `sweepd run list` lists them", id, run.ErrNoRun)
	case len(found) > 1:
		more := ""
		if len(found) > maxCandidates {
			found, more = found[:maxCandidates], ", ..."
		}
		return "", fmt.Errorf("run %q %w: %s%s: give more letters", id, store.ErrAmbiguous, strings.Join(found, ", "), more)
	}
	return ids[0], nil
}

// lastRun is the id of the run that was recorded here last. An older version's file
// does not tell which were; there runs without facts are those of a table.
func (s *Store) lastRun(ctx context.Context) (string, error) {
	recorded := "import IS NULL"
	if s.version < 2 {
		recorded = "fact_set IS NOT NULL OR state = 'recording'"
	}
	var id sql.NullString
	var others int
	err := s.read.QueryRowContext(ctx, `SELECT (SELECT id FROM runs NOT INDEXED WHERE `+recorded+` ORDER BY n DESC LIMIT 1),
		EXISTS (SELECT 1 FROM runs WHERE `+s.kept()+`)`).Scan(&id, &others)
	switch {
	case err != nil:
		return "", s.fail("looking for a run in", err)
	case id.Valid:
		// A later one may be damaged, and be told by it to have been imported.
		_, err := s.readRuns(ctx, selection{where: "n > (SELECT n FROM runs WHERE id = ?)", args: []any{id.String}, named: true}, rowOnly)
		return id.String, s.fail("looking for a run in", err)
	case others > 0:
		return "", fmt.Errorf("run %q: %w that was recorded here: those that are here were imported or merged; name one by its id (`sweepd run list`)", store.Last, run.ErrNoRun)
	}
	return "", fmt.Errorf("run %q: %w yet", store.Last, run.ErrNoRun)
}
