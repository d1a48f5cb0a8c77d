package sqlite

import (
	"context"
	"database/sql"
	"fmt"

	"sweepd/run"
	"sweepd/store"
)

// AnalysisRuns are the selected runs as the analysis takes them: finished ones
// that nobody rejected. The runs may share maps; they are to be read only.
func (s *Store) AnalysisRuns(ctx context.Context, f store.Filter) ([]run.Run, store.Skipped, error) {
	runs, skipped, err := s.analysisRuns(ctx, f)
	return runs, skipped, s.fail("reading runs of", err)
}

// SwitchedOff are the selected runs on battery that were interrupted, as where
// the device ran until it switched off: measured runtimes, if their charge says
// so.
func (s *Store) SwitchedOff(ctx context.Context, f store.Filter) ([]run.Run, error) {
	tx, err := s.read.BeginTx(ctx, nil)
	if err != nil {
		return nil, s.fail("reading runs of", err)
	}
	defer tx.Rollback()
	where, args := where(f)
	l := analysisLoader{ctx: ctx, tx: tx, where: "state = 'interrupted' AND supply = 'battery' AND (" + where + ")", args: args, at: map[int64]int{}}
	err = l.load()
	return l.runs, s.fail("reading runs of", err)
}

func (s *Store) analysisRuns(ctx context.Context, f store.Filter) ([]run.Run, store.Skipped, error) {
	tx, err := s.read.BeginTx(ctx, nil)
	if err != nil {
		return nil, store.Skipped{}, err
	}
	defer tx.Rollback()
	where, args := where(f)
	skipped, err := countSkipped(ctx, tx, where, args)
	if err != nil {
		return nil, skipped, err
	}
	l := analysisLoader{ctx: ctx, tx: tx, where: "state = 'finished' AND (" + where + ")", args: args, at: map[int64]int{}}
	if err := l.load(); err != nil {
		return nil, skipped, err
	}
	return l.runs, skipped, nil
}

func countSkipped(ctx context.Context, tx *sql.Tx, where string, args []any) (n store.Skipped, err error) {
	err = tx.QueryRowContext(ctx, `SELECT count(*) FILTER (WHERE state = 'recording'), count(*) FILTER (WHERE state = 'interrupted'),
		count(*) FILTER (WHERE state = 'rejected') FROM runs WHERE `+where, args...).Scan(&n.Recording, &n.Interrupted, &n.Rejected)
	return n, err
}

type analysisLoader struct {
	ctx   context.Context
	tx    *sql.Tx
	where string
	args  []any
	runs  []run.Run
	at    map[int64]int // place of each run in runs
}

func (l *analysisLoader) load() error {
	for _, step := range []func() error{l.loadRuns, l.loadResults, l.loadFindings, l.loadEndCharges} {
		if err := step(); err != nil {
			return err
		}
	}
	return nil
}

// ofSelected limits a query on a table of parts. Without a filter nearly all
// rows are wanted, and passing over the few others is faster than looking each
// one up.
func (l *analysisLoader) ofSelected() string {
	if len(l.args) == 0 {
		return ""
	}
	return " WHERE run IN (SELECT n FROM runs WHERE " + l.where + ")"
}

// run is the selected run of a row, nil where it is not selected.
func (l *analysisLoader) run(n int64) *run.Run {
	if at, ok := l.at[n]; ok {
		return &l.runs[at]
	}
	return nil
}

func (l *analysisLoader) loadRuns() error {
	facts, err := loadFactSets(l.ctx, l.tx)
	if err != nil {
		return err
	}
	l.runs = []run.Run{}
	return each(l.ctx, l.tx, func(rows *sql.Rows) error {
		var n int64
		var r run.Run
		var watts *float64
		var name string
		var started sql.NullString
		var half *float64
		var set sql.NullInt64
		err := rows.Scan(&n, &r.ID, &r.Device, &r.Workload, (*string)(&r.Supply), (*string)(&r.Variant), &watts, &name,
			&started, &r.DurationS, &r.PackageW, &r.SystemW, &half, &r.StartCelsius, &r.StartCharge, &set)
		if err != nil {
			return err
		}
		stamp, err := parseStamp(started.String)
		if err != nil {
			return fmt.Errorf("run %s: %w", r.ID, err)
		}
		r.StartedAt, r.Setting.Setting = stamp, setting(watts, name)
		r.Discharge = &run.Discharge{UncertaintyWatts: half}
		r.Facts = facts[set.Int64]
		r.Results = map[string]run.Result{}
		l.at[n] = len(l.runs)
		l.runs = append(l.runs, r)
		return nil
	}, `SELECT n, id, device, workload, supply, variant, setting_w, setting, started_at, duration_s, package_w, system_w, discharge_uncertainty_w,
		start_temperature_c, start_charge_ratio, fact_set FROM runs WHERE `+l.where+" ORDER BY started_at, n", l.args...)
}

func (l *analysisLoader) loadResults() error {
	return each(l.ctx, l.tx, func(rows *sql.Rows) error {
		var n int64
		var name string
		var r run.Result
		if err := rows.Scan(&n, &name, &r.Value, &r.Unit, (*string)(&r.Better)); err != nil {
			return err
		}
		if selected := l.run(n); selected != nil {
			selected.Results[name] = r
		}
		return nil
	}, "SELECT run, name, value, unit, better FROM results"+l.ofSelected(), l.args...)
}

func (l *analysisLoader) loadFindings() error {
	return each(l.ctx, l.tx, func(rows *sql.Rows) error {
		var n int64
		var f run.Finding
		if err := rows.Scan(&n, (*string)(&f.Code)); err != nil {
			return err
		}
		if r := l.run(n); r != nil {
			r.Findings = append(r.Findings, f)
		}
		return nil
	}, "SELECT run, code FROM findings"+l.ofSelected()+" ORDER BY run, position", l.args...)
}

// longRun is how long a run on battery lasts, in seconds, before its last charge
// is of interest: a full battery is never empty sooner.
const longRun = 300

// loadEndCharges reads the last charge of long runs on battery, the mean of the
// batteries as at the start.
func (l *analysisLoader) loadEndCharges() error {
	return each(l.ctx, l.tx, func(rows *sql.Rows) error {
		var n int64
		var charge float64
		if err := rows.Scan(&n, &charge); err != nil {
			return err
		}
		if r := l.run(n); r != nil {
			r.EndCharge = &charge
		}
		return nil
	}, fmt.Sprintf(`SELECT run, avg(last) FROM summaries WHERE last IS NOT NULL AND sensor IN (SELECT id FROM sensors WHERE sensor = ?)
		AND run IN (SELECT n FROM runs WHERE duration_s >= %d AND supply = 'battery' AND %s) GROUP BY run`, longRun, l.where),
		append([]any{run.BatteryCharge}, l.args...)...)
}
