package sqlite

import (
	"database/sql"
	"maps"
	"slices"
	"strings"

	"sweepd/run"
)

// runInserter stores new runs, many with a statement. What was put is in the file after
// flush.
type runInserter struct {
	*runWriter
	origin  any           // the import that brings the runs, nil where they are recorded here
	next    int64         // n of the first run that waits
	added   int           // runs that were new
	waiting []*run.Record // runs put, but not inserted
	sums    []runSums     // of waiting, as far as they are known
	summer
	runs *rowInserter // of waiting: measured, or plain where none has measured columns

	measured, plain, results, sealed *rowInserter
}

func newRunInserter(w *runWriter, origin any) (*runInserter, error) {
	const once = " ON CONFLICT (id) DO NOTHING"
	columns := append([]string{"n", "import"}, writtenColumns...)
	i := &runInserter{
		runWriter: w,
		origin:    origin,
		measured:  newRowInserter(w, "runs", columns, once),
		plain:     newRowInserter(w, "runs", columns[:2+measuredColumns], once),
		results:   newRowInserter(w, "results", []string{"run", "name", "value", "unit", "better", "set_at"}, ""),
		sealed:    newRowInserter(w, "run_checksums", strings.Split("run, "+sumColumns, ", "), ""),
	}
	i.runs = i.plain
	// Nobody else writes until the transaction ends.
	err := w.tx.QueryRowContext(w.ctx, `SELECT coalesce(max(n), 0) + 1 FROM runs`).Scan(&i.next)
	return i, err
}

// add stores one run, false where its id is known already.
func (w *runWriter) add(r *run.Record) (added bool, err error) {
	i, err := newRunInserter(w, nil)
	if err != nil {
		return false, err
	}
	if err := i.put(r); err != nil {
		return false, err
	}
	err = i.flush()
	return i.added > 0, err
}

// put takes a run, which must stay as it is until flush. One whose id is known is left
// out.
func (i *runInserter) put(r *run.Record) error {
	if err := r.Check(); err != nil {
		return err
	}
	facts, sum, err := i.factSet(r.Facts)
	if err != nil {
		return err
	}
	values, rows := runValues(r, facts), i.measured
	sums := runSums{partRow: i.summer.addRow(rowValues(append(slices.Clone(values), i.origin))), partFacts: sum}
	if !slices.ContainsFunc(values[measuredColumns:], func(v any) bool { return v != nil }) {
		values, rows = values[:measuredColumns], i.plain
	}
	if rows != i.runs {
		if err := i.insertRuns(); err != nil {
			return err
		}
		i.runs = rows
	}
	rows.put(i.next+int64(len(i.waiting)), i.origin)
	rows.put(values...)
	i.waiting, i.sums = append(i.waiting, r), append(i.sums, sums)
	if !i.runs.full() {
		return nil
	}
	return i.insertRuns()
}

func (i *runInserter) flush() error {
	if err := i.insertRuns(); err != nil {
		return err
	}
	for _, rows := range []*rowInserter{i.results, i.sealed} {
		if _, err := rows.insert(); err != nil {
			return err
		}
	}
	return nil
}

// insertRuns inserts the runs that wait, and what hangs on those that are new.
func (i *runInserter) insertRuns() error {
	count, err := i.runs.insert()
	if err != nil {
		return err
	}
	isNew := func(int64) bool { return true }
	if count < len(i.waiting) {
		if isNew, err = i.inserted(); err != nil {
			return err
		}
	}
	for at, r := range i.waiting {
		n := i.next + int64(at)
		if !isNew(n) {
			continue
		}
		i.added++
		sums := i.sums[at]
		for _, name := range slices.Sorted(maps.Keys(r.Results)) { // in the table's order
			x := r.Results[name]
			values := []any{name, x.Value, x.Unit, string(x.Better), nil}
			sums[partResults] = i.summer.add(sums[partResults], values...)
			if err := i.results.putOne(n, values); err != nil {
				return err
			}
		}
		if err := i.addParts(n, r); err != nil {
			return err
		}
		for _, f := range r.Findings {
			sums[partFindings] = i.summer.add(sums[partFindings], findingValues(f)...)
		}
		for k := range r.Summaries {
			x := &r.Summaries[k]
			numbers := summaryNumbers(x)
			last := len(numbers) - 1
			sums[partSummaries] = i.summer.add(sums[partSummaries], append([]any{x.Sensor, x.Instance, x.Unit}, numbers[:last]...)...)
			sums[partSummaries] = i.summer.addNewer(sums[partSummaries], numbers[last])
		}
		if err := i.sealed.putOne(n, sums.of(&i.summer, r.ID).values(n)[1:]); err != nil {
			return err
		}
	}
	i.next += int64(len(i.waiting))
	i.waiting, i.sums = i.waiting[:0], i.sums[:0]
	return nil
}

// inserted tells which of the runs that wait were inserted.
func (i *runInserter) inserted() (isNew func(n int64) bool, err error) {
	there := map[int64]bool{}
	err = each(i.ctx, i.tx, func(rows *sql.Rows) error {
		var n int64
		err := rows.Scan(&n)
		there[n] = true
		return err
	}, `SELECT n FROM runs WHERE n >= ?`, i.next)
	return func(n int64) bool { return there[n] }, err
}

// rowsTogether is how many rows one statement inserts where there are so many: that
// takes little more than half the time.
const rowsTogether = 64

// rowInserter inserts rows into one table.
type rowInserter struct {
	w         *runWriter
	columns   int
	one, many string // statements that insert a row, and rowsTogether
	args      []any  // of the rows that wait
}

func newRowInserter(w *runWriter, table string, columns []string, conflict string) *rowInserter {
	row := ", (?" + strings.Repeat(", ?", len(columns)-1) + ")"
	statement := func(rows int) string {
		return "INSERT INTO " + table + " (" + strings.Join(columns, ", ") + ") VALUES " + strings.Repeat(row, rows)[2:] + conflict
	}
	return &rowInserter{w: w, columns: len(columns), one: statement(1), many: statement(rowsTogether)}
}

func (t *rowInserter) put(values ...any) { t.args = append(t.args, values...) }

// putOne puts a row of the run n, and inserts the rows that wait where they fill a
// statement.
func (t *rowInserter) putOne(n int64, values []any) error {
	t.put(n)
	t.put(values...)
	if !t.full() {
		return nil
	}
	_, err := t.insert()
	return err
}

// full tells whether the rows that wait fill a statement.
func (t *rowInserter) full() bool { return len(t.args) == rowsTogether*t.columns }

// insert inserts the rows that wait, and says how many were inserted. Those that do not
// fill a statement go one by one: there are two statements in all.
func (t *rowInserter) insert() (added int, err error) {
	statement, size := t.one, t.columns
	if t.full() {
		statement, size = t.many, len(t.args)
	}
	for part := range slices.Chunk(t.args, size) {
		r, err := t.w.exec(statement, part...)
		if err != nil {
			return added, err
		}
		n, err := r.RowsAffected()
		if err != nil {
			return added, err
		}
		added += int(n)
	}
	t.args = t.args[:0]
	return added, nil
}
