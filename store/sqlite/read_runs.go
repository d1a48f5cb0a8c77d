package sqlite

import (
	"context"
	"database/sql"
	"fmt"
	"maps"

	"sweepd/run"
	"sweepd/store"
)

// Runs lists the selected runs in the order of their start.
func (s *Store) Runs(ctx context.Context, f store.Filter) ([]run.Run, error) {
	r, err := s.readRuns(ctx, s.selected(f), listed)
	return r.runs, s.fail("listing runs of", err)
}

// Records are the selected runs with all that is kept of them but sweeps.
func (s *Store) Records(ctx context.Context, f store.Filter) ([]run.Record, error) {
	r, err := s.readRuns(ctx, s.selected(f), whole)
	return r.records(), s.fail("reading runs of", err)
}

// Run is one run, see store.Runs.
func (s *Store) Run(ctx context.Context, id string) (run.Record, error) {
	full, err := s.FindRun(ctx, id)
	if err != nil {
		return run.Record{}, err
	}
	records, err := s.recordsWhere(ctx, "id = ?", full)
	if err == nil && len(records) == 0 {
		err = fmt.Errorf("run %s: %w", full, run.ErrNoRun)
	}
	if err != nil {
		return run.Record{}, s.fail("reading a run of", err)
	}
	return records[0], nil
}

// AnalysisRuns are the selected runs as the analysis takes them, see store.AnalysisRuns.
func (s *Store) AnalysisRuns(ctx context.Context, f store.Filter) ([]run.Run, store.Skipped, error) {
	var r runReader
	var skipped store.Skipped
	err := inTx(ctx, s.read, func(tx *sql.Tx) (err error) {
		chosen := s.selected(f)
		err = tx.QueryRowContext(ctx, `SELECT count(*) FILTER (WHERE state = 'recording'), count(*) FILTER (WHERE state = 'interrupted'),
			count(*) FILTER (WHERE state = 'rejected') FROM runs WHERE `+chosen.where, chosen.args...).Scan(&skipped.Recording, &skipped.Interrupted, &skipped.Rejected)
		if err != nil {
			return err
		}
		r, err = readRuns(ctx, tx, chosen.and("state = 'finished'"), analysed)
		return err
	})
	return r.runs, skipped, s.fail("reading runs of", err)
}

// SwitchedOff are the selected runs on battery that were interrupted, see
// store.AnalysisRuns.
func (s *Store) SwitchedOff(ctx context.Context, f store.Filter) ([]run.Run, error) {
	chosen := s.selected(f).and("state = 'interrupted' AND supply = 'battery'")
	chosen.most = false
	r, err := s.readRuns(ctx, chosen, analysed)
	return r.runs, s.fail("reading runs of", err)
}

// recordsWhere are the runs that fit a condition.
func (s *Store) recordsWhere(ctx context.Context, where string, args ...any) ([]run.Record, error) {
	r, err := s.readRuns(ctx, selection{where: where, args: args}.and(s.kept()), whole)
	return r.records(), err
}

func (s *Store) readRuns(ctx context.Context, chosen selection, what content) (r runReader, err error) {
	err = inTx(ctx, s.read, func(tx *sql.Tx) (err error) {
		r, err = readRuns(ctx, tx, chosen, what)
		return err
	})
	return r, err
}

// content says what is read of the selected runs, beside cell, times, watts, results
// and findings.
type content int

const (
	listed   content = iota // what a list shows: state, reason, note, settings in full
	analysed                // what the analysis takes: facts, conditions at start and end
	whole                   // as listed, with all the rest that is kept but sweeps
)

// runReader gathers selected runs and what hangs on them, with one query for each
// table.
type runReader struct {
	ctx    context.Context
	tx     *sql.Tx
	chosen selection

	runs   []run.Run
	at     map[int64]int // place of each run in runs, by n
	others []others      // of each run, where all is read
}

// others is what a record has beside the run.
type others struct {
	warmUpS   *float64
	summaries []run.Summary
}

func readRuns(ctx context.Context, tx *sql.Tx, chosen selection, what content) (runReader, error) {
	r := runReader{ctx: ctx, tx: tx, chosen: chosen, runs: []run.Run{}, at: map[int64]int{}}
	steps := []func() error{func() error { return r.readRows(what) }, r.readResults, r.readFindings}
	switch what {
	case analysed:
		steps = append(steps, r.readEndCharges)
	case whole:
		steps = append(steps, r.readSummaries)
	}
	for _, step := range steps {
		if err := step(); err != nil {
			return runReader{}, err
		}
	}
	return r, nil
}

func (r *runReader) records() []run.Record {
	records := make([]run.Record, len(r.runs))
	for i := range r.runs {
		records[i] = run.Record{Run: r.runs[i], WarmUpS: r.others[i].warmUpS, Summaries: r.others[i].summaries}
	}
	return records
}

// run is the selected run of a row, nil where it is not selected.
func (r *runReader) run(n int64) *run.Run {
	if at, ok := r.at[n]; ok {
		return &r.runs[at]
	}
	return nil
}

// Columns of `runs` that are read, in the order of their fields in runRow.
const (
	commonColumns = "n, id, device, workload, supply, variant, setting_w, setting, started_at, duration_s, package_w, system_w"
	listedColumns = ", setting_source, setting_read_w, setting_read, setting_read_source, state, why, note"
	wholeColumns  = ", fact_set, discharge_uncertainty_w, discharge_w, discharge_from_power_w, discharge_from_energy_w, warmup_s"
	// Of the discharge the analysis takes its uncertainty alone.
	analysedColumns = ", fact_set, discharge_uncertainty_w, start_temperature_c, start_charge_ratio"
)

// runRow is a row of `runs` as it is scanned.
type runRow struct {
	n                           int64
	run                         run.Run
	watts, readWatts            *float64
	name                        string
	started, readName, readFrom sql.NullString
	factSet                     sql.NullInt64
	discharge                   run.Discharge
	warmUpS                     *float64
}

// scanned are the columns to read, and where they go.
func (x *runRow) scanned(what content) (columns string, into []any) {
	r, d := &x.run, &x.discharge
	columns = commonColumns
	into = []any{&x.n, &r.ID, &r.Device, &r.Workload, (*string)(&r.Supply), (*string)(&r.Variant), &x.watts, &x.name,
		&x.started, &r.DurationS, &r.PackageW, &r.SystemW}
	if what == analysed {
		return columns + analysedColumns, append(into, &x.factSet, &d.UncertaintyWatts, &r.StartCelsius, &r.StartCharge)
	}
	columns += listedColumns
	into = append(into, (*string)(&r.Setting.Source), &x.readWatts, &x.readName, &x.readFrom, (*string)(&r.State), &r.Why, &r.Note)
	if what == whole {
		columns += wholeColumns
		into = append(into, &x.factSet, &d.UncertaintyWatts, &d.Watts, &d.FromPowerWatts, &d.FromEnergyWatts, &x.warmUpS)
	}
	return columns, into
}

// complete is the run of a scanned row.
func (x *runRow) complete() (r run.Run, err error) {
	r = x.run
	if r.StartedAt, err = parseStamp(x.started.String); err != nil {
		return r, fmt.Errorf("run %s: %w", r.ID, err)
	}
	r.Setting.Setting = setting(x.watts, x.name)
	if x.readName.Valid {
		read := setting(x.readWatts, x.readName.String).From(run.Source(x.readFrom.String))
		r.SettingRead = &read
	}
	if x.discharge != (run.Discharge{}) {
		d := x.discharge
		r.Discharge = &d
	}
	r.Results = map[string]run.Result{}
	r.Findings = []run.Finding{}
	return r, nil
}

func (r *runReader) readRows(what content) (err error) {
	var facts map[int64]map[string]string
	if what != listed {
		if facts, err = loadFactSets(r.ctx, r.tx); err != nil {
			return err
		}
	}
	var x runRow
	columns, into := x.scanned(what)
	return each(r.ctx, r.tx, func(rows *sql.Rows) error {
		if err := rows.Scan(into...); err != nil {
			return err
		}
		one, err := x.complete()
		if err != nil {
			return err
		}
		switch what {
		case analysed:
			one.Facts = facts[x.factSet.Int64]
		case whole:
			one.Facts = map[string]string{}
			maps.Copy(one.Facts, facts[x.factSet.Int64])
			r.others = append(r.others, others{x.warmUpS, []run.Summary{}})
		}
		r.at[x.n] = len(r.runs)
		r.runs = append(r.runs, one)
		return nil
	}, "SELECT "+columns+" FROM runs WHERE "+r.chosen.where+" ORDER BY started_at, n", r.chosen.args...)
}

// eachPart reads a table of parts. Where nearly all runs are selected, passing over the
// few others is faster than looking each one up.
func (r *runReader) eachPart(scan func(*sql.Rows) error, query, order string) error {
	if r.chosen.most {
		return each(r.ctx, r.tx, scan, query+order)
	}
	return each(r.ctx, r.tx, scan, query+" WHERE run IN (SELECT n FROM runs WHERE "+r.chosen.where+")"+order, r.chosen.args...)
}

func (r *runReader) readResults() error {
	return r.eachPart(func(rows *sql.Rows) error {
		var n int64
		var name string
		var x run.Result
		if err := rows.Scan(&n, &name, &x.Value, &x.Unit, (*string)(&x.Better)); err != nil {
			return err
		}
		if one := r.run(n); one != nil {
			one.Results[name] = x
		}
		return nil
	}, "SELECT run, name, value, unit, better FROM results", "")
}

func (r *runReader) readFindings() error {
	return r.eachPart(func(rows *sql.Rows) error {
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
		if one := r.run(n); one != nil {
			f.At = stamp.Time
			one.Findings = append(one.Findings, f)
			run.Advise(one.Findings[len(one.Findings)-1:])
		}
		return nil
	}, "SELECT run, code, severity, text, at FROM findings", " ORDER BY run, position")
}

func (r *runReader) readSummaries() error {
	return r.eachPart(func(rows *sql.Rows) error {
		var n int64
		var x run.Summary
		if err := rows.Scan(&n, &x.Sensor, &x.Instance, &x.Unit, &x.Mean, &x.Min, &x.Max, &x.P95, &x.First, &x.Last,
			&x.EnergyJoules, &x.SteadyMean); err != nil {
			return err
		}
		if at, ok := r.at[n]; ok {
			r.others[at].summaries = append(r.others[at].summaries, x)
		}
		return nil
	}, `SELECT run, s.sensor, instance, unit, mean, min, max, p95, first, last, energy_j, steady_mean
		FROM summaries m JOIN sensors s ON s.id = m.sensor`, " ORDER BY run, position")
}

// longRun is how long a run on battery lasts, in seconds, before its last charge
// is of interest: a full battery is never empty sooner.
const longRun = 300

// readEndCharges reads the last charge of long runs on battery, the mean of the
// batteries as at the start.
func (r *runReader) readEndCharges() error {
	return each(r.ctx, r.tx, func(rows *sql.Rows) error {
		var n int64
		var charge float64
		if err := rows.Scan(&n, &charge); err != nil {
			return err
		}
		if one := r.run(n); one != nil {
			one.EndCharge = &charge
		}
		return nil
	}, fmt.Sprintf(`SELECT run, avg(last) FROM summaries WHERE last IS NOT NULL AND sensor IN (SELECT id FROM sensors WHERE sensor = ?)
		AND run IN (SELECT n FROM runs WHERE duration_s >= %d AND supply = 'battery' AND %s) GROUP BY run`, longRun, r.chosen.where),
		append([]any{run.BatteryCharge}, r.chosen.args...)...)
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
