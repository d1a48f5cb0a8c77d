package sqlite

import (
	"context"
	"database/sql"
	"fmt"
	"strings"

	"sweepd/run"
	"sweepd/store"
)

// Runs lists the selected runs in the order of their start.
func (s *Store) Runs(ctx context.Context, f store.Filter) ([]run.Run, error) {
	details, err := s.load(ctx, f, false)
	if err != nil {
		return nil, s.fail("listing runs of", err)
	}
	runs := make([]run.Run, len(details))
	for i := range details {
		runs[i] = details[i].Run
	}
	return runs, nil
}

// Details are the selected runs with all that is kept of them but sweeps.
func (s *Store) Records(ctx context.Context, f store.Filter) ([]run.Record, error) {
	details, err := s.load(ctx, f, true)
	return details, s.fail("reading runs of", err)
}

// Run is one run. id may be "last", a full id, or at least four letters of its
// beginning or end. ErrNoRun and ErrAmbiguous say that it fits none or several.
func (s *Store) Run(ctx context.Context, id string) (run.Record, error) {
	full, err := s.FindRun(ctx, id)
	if err != nil {
		return run.Record{}, err
	}
	details, err := s.loadWhere(ctx, "id = ?", []any{full}, true)
	if err == nil && len(details) == 0 {
		err = fmt.Errorf("run %s: %w", full, run.ErrNoRun)
	}
	if err != nil {
		return run.Record{}, s.fail("reading a run of", err)
	}
	return details[0], nil
}

// minPart is the shortest part of an id that names a run.
const minPart = 4

// maxCandidates is how many runs an ambiguous id is told to fit.
const maxCandidates = 5

// FindRun gives the full id of a run, see Run.
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
		WHERE id = ?1 OR length(?1) >= ?2 AND (substr(id, 1, length(?1)) = ?1 OR substr(id, -length(?1)) = ?1)
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

func (s *Store) lastRun(ctx context.Context) (string, error) {
	var id sql.NullString
	err := s.read.QueryRowContext(ctx, `SELECT (SELECT id FROM runs ORDER BY started_at DESC, n DESC LIMIT 1)`).Scan(&id)
	if err != nil {
		return "", s.fail("looking for a run in", err)
	}
	if !id.Valid {
		return "", fmt.Errorf("run %q: %w yet", store.Last, run.ErrNoRun)
	}
	return id.String, nil
}

func (s *Store) load(ctx context.Context, f store.Filter, whole bool) ([]run.Record, error) {
	where, args := where(f)
	return s.loadWhere(ctx, where, args, whole)
}

// loadWhere reads runs and their parts as of one moment, with one query for
// each table.
func (s *Store) loadWhere(ctx context.Context, where string, args []any, whole bool) (details []run.Record, err error) {
	tx, err := s.read.BeginTx(ctx, nil)
	if err != nil {
		return nil, err
	}
	defer tx.Rollback()
	return loadFrom(ctx, tx, where, args, whole)
}

func loadFrom(ctx context.Context, tx *sql.Tx, where string, args []any, whole bool) ([]run.Record, error) {
	l := loader{ctx: ctx, tx: tx, selected: "(SELECT n FROM runs WHERE " + where + ")", args: args, at: map[int64]int{}}
	if err := l.runs(where); err != nil {
		return nil, err
	}
	steps := []func() error{l.results, l.findings}
	if whole {
		steps = append(steps, l.summaries, l.facts)
	}
	for _, step := range steps {
		if err := step(); err != nil {
			return nil, err
		}
	}
	return l.details, nil
}

// loader gathers the parts of selected runs.
type loader struct {
	ctx      context.Context
	tx       *sql.Tx
	selected string
	args     []any

	details  []run.Record
	factSets []sql.NullInt64
	at       map[int64]int // place of each run in details
}

func (l *loader) runs(where string) error {
	l.details = []run.Record{}
	return each(l.ctx, l.tx, func(rows *sql.Rows) error {
		r, err := scanRun(rows)
		if err != nil {
			return err
		}
		l.at[r.n] = len(l.details)
		l.details = append(l.details, r.detail)
		l.factSets = append(l.factSets, r.factSet)
		return nil
	}, "SELECT "+runColumns+" FROM runs WHERE "+where+" ORDER BY started_at, n", l.args...)
}

func (l *loader) results() error {
	return each(l.ctx, l.tx, func(rows *sql.Rows) error {
		var n int64
		var name string
		var r run.Result
		if err := rows.Scan(&n, &name, &r.Value, &r.Unit, (*string)(&r.Better)); err != nil {
			return err
		}
		l.details[l.at[n]].Results[name] = r
		return nil
	}, "SELECT run, name, value, unit, better FROM results WHERE run IN "+l.selected, l.args...)
}

func (l *loader) findings() error {
	return each(l.ctx, l.tx, func(rows *sql.Rows) error {
		var n int64
		var f run.Finding
		var at sql.NullString
		if err := rows.Scan(&n, (*string)(&f.Code), (*string)(&f.Severity), &f.Text, &at); err != nil {
			return err
		}
		stamp, err := parseStamp(at.String)
		if err != nil {
			return err
		}
		f.At = stamp.Time
		d := &l.details[l.at[n]]
		d.Findings = append(d.Findings, f)
		run.Advise(d.Findings)
		return nil
	}, "SELECT run, code, severity, text, at FROM findings WHERE run IN "+l.selected+" ORDER BY run, position", l.args...)
}

func (l *loader) summaries() error {
	return each(l.ctx, l.tx, func(rows *sql.Rows) error {
		var n int64
		var x run.Summary
		if err := rows.Scan(&n, &x.Sensor, &x.Instance, &x.Unit, &x.Mean, &x.Min, &x.Max, &x.P95, &x.First, &x.Last,
			&x.EnergyJoules, &x.SteadyMean); err != nil {
			return err
		}
		d := &l.details[l.at[n]]
		d.Summaries = append(d.Summaries, x)
		return nil
	}, `SELECT run, s.sensor, instance, unit, mean, min, max, p95, first, last, energy_j, steady_mean
		FROM summaries m JOIN sensors s ON s.id = m.sensor WHERE run IN `+l.selected+" ORDER BY run, position", l.args...)
}

func (l *loader) facts() error {
	sets, err := loadFactSets(l.ctx, l.tx)
	if err != nil {
		return err
	}
	for i := range l.details {
		for name, value := range sets[l.factSets[i].Int64] {
			l.details[i].Facts[name] = value
		}
	}
	return nil
}

// loadFactSets reads every set; there are few, because runs share them.
func loadFactSets(ctx context.Context, q rowsQueryer) (map[int64]map[string]string, error) {
	sets := map[int64]map[string]string{}
	err := each(ctx, q, func(rows *sql.Rows) error {
		var set int64
		var name, value string
		if err := rows.Scan(&set, &name, &value); err != nil {
			return err
		}
		if sets[set] == nil {
			sets[set] = map[string]string{}
		}
		sets[set][name] = value
		return nil
	}, "SELECT fact_set, name, value FROM facts ORDER BY fact_set")
	return sets, err
}

// Devices lists the devices that have runs, in the order of their names.
func (s *Store) Devices(ctx context.Context) ([]store.DeviceRuns, error) {
	devices := []store.DeviceRuns{}
	err := each(ctx, s.read, func(rows *sql.Rows) error {
		var d store.DeviceRuns
		var first, last sql.NullString
		if err := rows.Scan(&d.Device, &d.Runs, &first, &last); err != nil {
			return err
		}
		from, err := parseStamp(first.String)
		if err != nil {
			return err
		}
		to, err := parseStamp(last.String)
		d.First, d.Last = from.Time, to.Time
		devices = append(devices, d)
		return err
	}, `SELECT device, count(*), min(started_at), max(started_at) FROM runs GROUP BY device ORDER BY device`)
	return devices, s.fail("listing devices of", err)
}
