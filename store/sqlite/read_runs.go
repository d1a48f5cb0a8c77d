package sqlite

import (
	"cmp"
	"context"
	"database/sql"
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"

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
	r, err := s.readRun(ctx, full)
	if err != nil {
		return run.Record{}, s.fail("reading a run of", err)
	}
	return r.records()[0], nil
}

// LastOf is the selected run that started last, see store.Runs.
func (s *Store) LastOf(ctx context.Context, f store.Filter) (run.Record, error) {
	f.Limit = 1
	var id string
	chosen := s.selected(f)
	err := s.read.QueryRowContext(ctx, `SELECT id FROM runs WHERE `+chosen.where, chosen.args...).Scan(&id)
	if errors.Is(err, sql.ErrNoRows) {
		return run.Record{}, run.ErrNoRun
	}
	var r runReader
	if err == nil {
		r, err = s.readRun(ctx, id)
	}
	if err != nil {
		return run.Record{}, s.fail("reading a run of", err)
	}
	return r.records()[0], nil
}

// readRun reads all of one run but sweeps.
func (s *Store) readRun(ctx context.Context, id string) (r runReader, err error) {
	err = inTx(ctx, s.read, func(tx *sql.Tx) error {
		n, _, err := runState(ctx, tx, id, s.kept())
		if err != nil {
			return err
		}
		r, err = s.readRunsIn(ctx, tx, runNumber(n), whole)
		return err
	})
	return r, err
}

// AnalysisRuns are the selected runs as the analysis takes them, see store.AnalysisRuns.
func (s *Store) AnalysisRuns(ctx context.Context, f store.Filter) ([]run.Run, store.Skipped, error) {
	var r runReader
	var skipped store.Skipped
	err := inTx(ctx, s.read, func(tx *sql.Tx) (err error) {
		chosen := s.selected(f)
		err = tx.QueryRowContext(ctx, `SELECT count(*) FILTER (WHERE `+textOf("state")+` = 'recording'), count(*) FILTER (WHERE `+textOf("state")+` = 'interrupted'),
			count(*) FILTER (WHERE `+textOf("state")+` = 'rejected') FROM runs WHERE `+chosen.where, chosen.args...).Scan(&skipped.Recording, &skipped.Interrupted, &skipped.Rejected)
		if err != nil {
			return err
		}
		r, err = s.readRunsIn(ctx, tx, chosen.and(textOf("state")+" = 'finished'"), analysed)
		return err
	})
	skipped.Damaged = r.spoilt()
	return r.usable(), skipped, s.fail("reading runs of", err)
}

// SwitchedOff are the selected runs on battery that were interrupted, see
// store.AnalysisRuns.
func (s *Store) SwitchedOff(ctx context.Context, f store.Filter) ([]run.Run, error) {
	chosen := s.selected(f).and(textOf("state") + " = 'interrupted' AND " + textOf("supply") + " = 'battery'")
	chosen.most = false
	r, err := s.readRuns(ctx, chosen, analysed)
	return r.usable(), s.fail("reading runs of", err)
}

func (s *Store) readRuns(ctx context.Context, chosen selection, what content) (r runReader, err error) {
	err = inTx(ctx, s.read, func(tx *sql.Tx) (err error) {
		r, err = s.readRunsIn(ctx, tx, chosen, what)
		return err
	})
	return r, err
}

// readRunsIn reads runs and keeps in mind what of them is damaged.
func (s *Store) readRunsIn(ctx context.Context, tx *sql.Tx, chosen selection, what content) (runReader, error) {
	r, err := readRuns(ctx, tx, s.version, chosen, what)
	for i, damage := range r.damage {
		if damage.any() {
			s.notice(fmt.Sprintf("%s of run %s", damage, r.runs[i].ID))
		}
	}
	s.noticeLost(r.lost)
	return r, err
}

func (s *Store) noticeLost(runs []int64) {
	for _, n := range runs {
		s.notice(fmt.Sprintf("a run that is gone (the file's number %d)", n))
	}
}

// content says what is read of the selected runs, beside cell, times and watts.
type content int

const (
	rowOnly  content = iota // nothing
	listed                  // what a list shows: results, findings, state, reason, note, settings in full
	analysed                // what the analysis takes: results, findings, facts, conditions at start and end
	whole                   // as listed, with all the rest that is kept but sweeps
)

// runReader gathers selected runs and what hangs on them, with one query for each
// table.
type runReader struct {
	ctx     context.Context
	tx      *sql.Tx
	version int // of the file's schema
	chosen  selection
	summer

	runs    []run.Run
	numbers []int64       // n of each run
	at      map[int64]int // place of each run in runs, by n
	others  []others      // of each run, where all is read
	sums    []runSums     // of each run as read
	stored  []storedSums  // that each run was stored with
	damage  []partSet     // of each run
	lost    []int64       // numbers of runs that are gone
}

// others is what a record has beside the run.
type others struct {
	warmUpS   *float64
	loadEndS  *float64
	summaries []run.Summary
	history   store.History
}

func readRuns(ctx context.Context, tx *sql.Tx, version int, chosen selection, what content) (runReader, error) {
	r := runReader{ctx: ctx, tx: tx, version: version, chosen: chosen, runs: []run.Run{}, at: map[int64]int{}}
	steps := []func() error{func() error { return r.readRows(what) }}
	switch what {
	case listed, analysed:
		steps = append(steps, r.readResults, r.readFindings)
	case whole:
		steps = append(steps, r.readResults, r.readFindings, r.readSummaries, r.readOldResults, r.readDecisions, r.readCorrections)
	}
	for _, step := range steps {
		if err := step(); err != nil {
			return runReader{}, err
		}
	}
	r.check(what)
	r.limit(what)
	return r, nil
}

// limit leaves of a run what its content has, once all that it depends on is read.
func (r *runReader) limit(what content) {
	for i := range r.runs {
		one := &r.runs[i]
		if what != rowOnly {
			one.LimitSystemPower()
		}
		switch d := one.Discharge; {
		case what == listed:
			one.Discharge = nil
		case what == analysed && d != nil:
			if d.FromPowerWatts, d.FromEnergyWatts = nil, nil; *d == (run.Discharge{}) {
				one.Discharge = nil
			}
		}
	}
}

func (r *runReader) records() []run.Record {
	records := make([]run.Record, len(r.runs))
	for i := range r.runs {
		records[i] = run.Record{Run: r.runs[i], WarmUpS: r.others[i].warmUpS, LoadEndS: r.others[i].loadEndS, Summaries: r.others[i].summaries,
			Corrected: run.Corrected(r.others[i].history.Changes())}
	}
	return records
}

// usable are the runs of which something can be made use of.
func (r *runReader) usable() []run.Run {
	runs := r.runs[:0:0]
	for i := range r.runs {
		if !r.damage[i].spoilt() {
			runs = append(runs, r.runs[i])
		}
	}
	return runs
}

// spoilt names the other runs.
func (r *runReader) spoilt() (ids []string) {
	for i := range r.runs {
		if r.damage[i].spoilt() {
			ids = append(ids, r.runs[i].ID)
		}
	}
	return ids
}

// runRow is a row of `runs` as it is scanned, with its checksums and whether it is
// selected.
type runRow struct {
	n                           int64
	run                         run.Run
	stateBefore                 string
	watts, readWatts            *float64
	name                        string
	started, readName, readFrom sql.NullString
	factSet, origin             sql.NullInt64
	discharge                   run.Discharge
	warmUpS, loadEndS           *float64
	stored                      storedSums
	selected                    bool
}

// columns are where the columns of `runs` go: written ones in their order, and the import.
func (x *runRow) columns() []any {
	r, d := &x.run, &x.discharge
	return []any{&r.ID, &r.Device, &r.Workload, (*string)(&r.Variant), (*string)(&r.Supply), &x.watts, &x.name, (*string)(&r.Setting.Source),
		(*string)(&r.State), &x.stateBefore, &r.Why, &r.Note, &x.started, &r.DurationS, &r.PackageW, &r.SystemW,
		&x.readWatts, &x.readName, &x.readFrom,
		&d.Watts, &d.UncertaintyWatts, &d.FromPowerWatts, &d.FromEnergyWatts,
		&x.warmUpS, &r.StartCelsius, &r.StartCharge, &r.EndCharge, &x.factSet,
		&x.loadEndS, &r.WholeS, &x.origin}
}

// rowValues are what goes into the checksum of a run's row: all but the number of its
// facts, which have a checksum of their own. added are those that version 3 added. The
// import comes last in columns.
func rowValues(columns []any) (values, added []any) {
	last := len(columns) - 1
	return append(slices.Clone(columns[:factSetColumn]), columns[last]), columns[factSetColumn+1 : last]
}

// complete is the run of a scanned row.
func (x *runRow) complete(what content) (r run.Run, err error) {
	r = x.run
	r.Results = map[string]run.Result{}
	r.Findings = []run.Finding{}
	if r.StartedAt, err = parseStamp(x.started.String); err != nil {
		return r, fmt.Errorf("run %s: %w", r.ID, err)
	}
	r.Setting.Setting = setting(x.watts, x.name)
	if r.DurationS == nil || *r.DurationS < longRun || r.Supply != run.Battery {
		r.EndCharge = nil
	}
	d := x.discharge
	measured := x.factSet.Valid || d != (run.Discharge{}) || r.StartCelsius != nil || r.StartCharge != nil // and not given in a table
	if r.SystemWSource = ""; measured && r.SystemW != nil && r.Supply != run.Battery {
		r.SystemWSource = run.FromExternal // nothing else tells it there
	}
	if what == analysed {
		r.State, r.Why, r.Note, r.Setting.Source = "", "", "", ""
	} else {
		r.StartCelsius, r.StartCharge, r.EndCharge = nil, nil, nil
		if x.readName.Valid {
			read := setting(x.readWatts, x.readName.String).From(run.Source(x.readFrom.String))
			r.SettingRead = &read
		}
	}
	if d != (run.Discharge{}) {
		r.Discharge = &d
	}
	return r, nil
}

// longRun is how long a run on battery lasts, in seconds, before its last charge
// is of interest: a full battery is never empty sooner.
const longRun = 300

// readColumns are what is read of `runs` and `run_checksums`. Older versions lack some.
func readColumns(version int) (columns, from string) {
	written := strings.Join(writtenColumns, ", ")
	if version < 3 {
		written = strings.Replace(written, "load_end_s, whole_s", "NULL, NULL", 1)
	}
	if version < 2 {
		return strings.Replace(written, "end_charge_ratio", endCharge, 1) + ", NULL" + strings.Repeat(", NULL", int(parts)), "runs"
	}
	return written + ", import, " + sumColumns, "runs LEFT JOIN run_checksums ON run = n"
}

// endCharge is the mean of the batteries' last charges of a run.
const endCharge = `(SELECT avg(last) FROM summaries m JOIN sensors s ON s.id = m.sensor WHERE m.run = n AND s.sensor = '` + run.BatteryCharge + `')`

func (r *runReader) readRows(what content) error {
	facts := map[int64]factSet{}
	if what == analysed || what == whole {
		var err error
		if facts, err = loadFactSets(r.ctx, r.tx); err != nil {
			return err
		}
	}
	var x runRow
	into := x.columns()
	values, added := rowValues(into)
	columns, from := readColumns(r.version)
	query := "SELECT n, " + columns + ", 1 FROM " + from + " WHERE " + r.chosen.where
	if !r.chosen.named { // one that is damaged may belong to any
		query = "SELECT n, " + columns + ", coalesce((" + r.chosen.where + "), 0) FROM " + from
	}
	scanned := slices.Concat([]any{&x.n}, into, x.stored.scanned(), []any{&x.selected})
	found := 0
	var starts []string
	err := each(r.ctx, r.tx, func(rows *sql.Rows) error {
		found++
		x.run.ID = ""
		readable, err := r.scan(rows, scanned...)
		if err != nil {
			return err
		}
		sum := r.addRow(values, added)
		sound := readable && r.fits(x.stored[partRow], sum)
		if sound && !x.selected {
			return nil
		}
		one, err := x.complete(what)
		if err != nil && sound {
			return err
		}
		sums := runSums{partRow: sum}
		set := facts[x.factSet.Int64]
		sums[partFacts] = set.sum
		switch what {
		case analysed:
			one.Facts = set.facts
		case whole:
			one.Facts = map[string]string{}
			maps.Copy(one.Facts, set.facts)
			r.others = append(r.others, others{warmUpS: x.warmUpS, loadEndS: x.loadEndS, summaries: []run.Summary{}, history: noHistory()})
		}
		starts = append(starts, x.started.String)
		r.runs = append(r.runs, one)
		r.numbers = append(r.numbers, x.n)
		r.sums = append(r.sums, sums)
		r.stored = append(r.stored, x.stored)
		r.damage = append(r.damage, partSet{partRow: !readable})
		return nil
	}, query, r.chosen.args...)
	r.sort(starts)
	if err == nil && !r.chosen.named && r.version >= 2 {
		r.lost, err = findLost(r.ctx, r.tx, found)
	}
	return err
}

// sort puts the runs in the order of their starts, and of their numbers: SQLite would take
// longer, having to keep all columns.
func (r *runReader) sort(starts []string) {
	order := make([]int, len(starts))
	for i := range order {
		order[i] = i
	}
	slices.SortFunc(order, func(a, b int) int {
		return cmp.Or(strings.Compare(starts[a], starts[b]), cmp.Compare(r.numbers[a], r.numbers[b]))
	})
	r.runs, r.numbers, r.sums, r.stored, r.damage = permuted(r.runs, order), permuted(r.numbers, order), permuted(r.sums, order), permuted(r.stored, order), permuted(r.damage, order)
	if r.others != nil {
		r.others = permuted(r.others, order)
	}
	for i, n := range r.numbers {
		r.at[n] = i
	}
}

// permuted has the elements of a list in another order.
func permuted[T any](list []T, order []int) []T {
	if slices.IsSorted(order) {
		return list
	}
	other := make([]T, len(list))
	for i, at := range order {
		other[i] = list[at]
	}
	return other
}

// scan scans a row, false where that is damaged. What cannot be scanned in the file of
// an older version, which has no checksums, is an error.
func (r *runReader) scan(rows *sql.Rows, into ...any) (readable bool, err error) {
	if err = rows.Scan(into...); err != nil && r.version >= 2 {
		return false, nil
	}
	return err == nil, err
}

// newer is where a column goes that version 3 added, see addNewer.
type newer struct{ into any }

// part scans a row of a part of a run, and goes on with its checksum. The first column is
// the run's number; the values that count are those from the second to the last.
func (r *runReader) part(p part, rows *sql.Rows, n *int64, values ...any) (one *run.Run, err error) {
	*n = 0
	into, old, added := []any{n}, []any{}, []any{}
	for _, v := range values {
		if x, isNewer := v.(newer); isNewer {
			v = x.into
			added = append(added, v)
		} else {
			old = append(old, v)
		}
		into = append(into, v)
	}
	readable, err := r.scan(rows, into...)
	at, selected := r.at[*n]
	if err != nil || !selected {
		return nil, err
	}
	if r.sums[at][p] = r.addNewer(r.add(r.sums[at][p], old...), added...); !readable {
		r.damage[at][p] = true
		return nil, nil
	}
	return &r.runs[at], nil
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
		var set sql.NullString
		one, err := r.part(partResults, rows, &n, &name, &x.Value, &x.Unit, (*string)(&x.Better), &set)
		if one != nil {
			one.Results[name] = x
		}
		return err
	}, "SELECT run, name, value, unit, better, set_at FROM results", " ORDER BY run, name")
}

func (r *runReader) readFindings() error {
	return r.eachPart(func(rows *sql.Rows) error {
		var n int64
		var f run.Finding
		var at sql.NullString
		one, err := r.part(partFindings, rows, &n, (*string)(&f.Code), (*string)(&f.Severity), &f.Text, &at)
		if one == nil {
			return err
		}
		stamp, err := r.stamp(at)
		f.At = stamp.Time
		one.Findings = append(one.Findings, f)
		run.Advise(one.Findings[len(one.Findings)-1:])
		return err
	}, "SELECT run, code, severity, text, at FROM findings", " ORDER BY run, position")
}

// stamp is a stored time. Where it is damaged it is zero: its checksum tells.
func (r *runReader) stamp(text sql.NullString) (run.Timestamp, error) {
	at, err := parseStamp(text.String)
	if r.version >= 2 {
		err = nil
	}
	return at, err
}

func (r *runReader) readSummaries() error {
	loadMean := "load_mean"
	if r.version < 3 {
		loadMean = "NULL"
	}
	return r.eachPart(func(rows *sql.Rows) error {
		var n int64
		var x run.Summary
		one, err := r.part(partSummaries, rows, &n, &x.Sensor, &x.Instance, &x.Unit, &x.Mean, &x.Min, &x.Max, &x.P95, &x.First, &x.Last,
			&x.EnergyJoules, &x.SteadyMean, newer{&x.LoadMean})
		if one != nil {
			others := &r.others[r.at[n]]
			others.summaries = append(others.summaries, x)
		}
		return err
	}, `SELECT run, s.sensor, instance, unit, mean, min, max, p95, first, last, energy_j, steady_mean, `+loadMean+`
		FROM summaries m JOIN sensors s ON s.id = m.sensor`, " ORDER BY run, position")
}

func (r *runReader) readOldResults() error {
	return r.eachPart(func(rows *sql.Rows) error {
		var n int64
		var x store.OldResult
		var set, replaced sql.NullString
		one, err := r.part(partHistory, rows, &n, &x.Name, &x.Result.Value, &x.Result.Unit, (*string)(&x.Result.Better), &set, &replaced)
		if one == nil {
			return err
		}
		h := &r.others[r.at[n]].history
		if x.SetAt, err = r.stamp(set); err != nil {
			return err
		}
		x.ReplacedAt, err = r.stamp(replaced)
		h.Results = append(h.Results, x)
		return err
	}, "SELECT run, name, value, unit, better, set_at, replaced_at FROM result_history", " ORDER BY run, rowid")
}

func (r *runReader) readDecisions() error {
	return r.eachPart(func(rows *sql.Rows) error {
		var n int64
		var x store.Decided
		var at sql.NullString
		one, err := r.part(partHistory, rows, &n, &at, (*string)(&x.What), &x.Who, &x.Why)
		if one == nil {
			return err
		}
		h := &r.others[r.at[n]].history
		x.At, err = r.stamp(at)
		h.Decisions = append(h.Decisions, x)
		return err
	}, "SELECT run, at, what, who, why FROM decisions", " ORDER BY run, rowid")
}

func (r *runReader) readCorrections() error {
	if r.version < 3 {
		return nil
	}
	return r.eachPart(func(rows *sql.Rows) error {
		var n int64
		var x store.Corrected
		var at sql.NullString
		one, err := r.part(partHistory, rows, &n, &x.Batch, &at, &x.Who, &x.Why, &x.Undoes, (*string)(&x.What), &x.Name, &x.Old, &x.New)
		if one == nil {
			return err
		}
		h := &r.others[r.at[n]].history
		x.At, err = r.stamp(at)
		h.Corrections = append(h.Corrections, x)
		return err
	}, "SELECT run, batch, at, who, why, undoes, what, name, old, new FROM corrections", " ORDER BY run, at, batch, what, name")
}

// factSet is what devices said of themselves, with its checksum.
type factSet struct {
	facts map[string]string
	sum   uint32
}

// loadFactSets reads every set; there are few, because runs share them.
func loadFactSets(ctx context.Context, q rowsQueryer) (map[int64]factSet, error) {
	sets := map[int64]factSet{}
	var s summer
	err := each(ctx, q, func(rows *sql.Rows) error {
		var id int64
		var name, value string
		if err := rows.Scan(&id, &name, &value); err != nil {
			return err
		}
		set := sets[id]
		if set.facts == nil {
			set.facts = map[string]string{}
		}
		set.facts[name], set.sum = value, s.add(set.sum, name, value)
		sets[id] = set
		return nil
	}, "SELECT fact_set, name, value FROM facts ORDER BY fact_set, name")
	return sets, err
}
