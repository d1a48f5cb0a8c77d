package sqlite

import (
	"database/sql"
	"maps"
	"math/bits"
	"slices"
	"strconv"
	"strings"

	"sweepd/run"
)

// batchRuns is the most rows of a statement.
const batchRuns = 64

// runBatch stores many new runs with few statements, which takes little more than half
// the time. What was put is in the file after flush.
type runBatch struct {
	*runWriter
	next  int64 // n of the first run that waits
	added int   // runs that were new

	runs    []*run.Record // that wait
	columns uint32        // which of writtenColumns they have
	values  []any

	results resultBatch
}

func newRunBatch(w *runWriter) (*runBatch, error) {
	b := &runBatch{runWriter: w, results: resultBatch{w: w}}
	// Nobody else writes until the transaction ends.
	err := w.tx.QueryRowContext(w.ctx, `SELECT coalesce(max(n), 0) + 1 FROM runs`).Scan(&b.next)
	return b, err
}

var (
	factSetColumn = slices.Index(writtenColumns, "fact_set")
	// emptyColumns hold '' where nothing is given, all others NULL.
	emptyColumns = columnsOf("variant", "supply", "setting", "setting_source", "why", "note", "state_before")
)

func columnsOf(names ...string) (columns uint32) {
	for _, name := range names {
		columns |= 1 << slices.Index(writtenColumns, name)
	}
	return columns
}

func (b *runBatch) put(r preparedRun) (err error) {
	if r.values[factSetColumn], err = b.factSet(r.detail.Facts); err != nil {
		return err
	}
	columns := uint32(0)
	for i, v := range r.values {
		if v != nil && (v != "" || emptyColumns&(1<<i) == 0) {
			columns |= 1 << i
		}
	}
	if columns != b.columns || len(b.runs) == batchRuns {
		if err := b.flushRuns(); err != nil {
			return err
		}
		b.columns = columns
	}
	b.values = append(b.values, b.next+int64(len(b.runs)))
	for i, v := range r.values {
		if columns&(1<<i) != 0 {
			b.values = append(b.values, v)
		}
	}
	b.runs = append(b.runs, r.detail)
	return nil
}

func (b *runBatch) flush() error {
	if err := b.flushRuns(); err != nil {
		return err
	}
	return b.results.flush()
}

func (b *runBatch) flushRuns() error {
	if len(b.runs) == 0 {
		return nil
	}
	isNew, err := b.insert()
	if err != nil {
		return err
	}
	for i, d := range b.runs {
		n := b.next + int64(i)
		if !isNew(n) {
			continue
		}
		b.added++
		if err := b.results.put(n, d.Results); err != nil {
			return err
		}
		if err := b.addParts(n, d); err != nil {
			return err
		}
	}
	b.next += int64(len(b.runs))
	b.runs, b.values = b.runs[:0], b.values[:0]
	return nil
}

// insert inserts the runs whose ids are new, and tells which those are.
func (b *runBatch) insert() (isNew func(n int64) bool, err error) {
	r, err := b.exec(insertRuns(b.columns, len(b.runs)), b.values...)
	if err != nil {
		return nil, err
	}
	count, err := r.RowsAffected()
	if err != nil || int(count) == len(b.runs) {
		return func(int64) bool { return true }, err
	}
	there := map[int64]bool{}
	err = each(b.ctx, b.tx, func(rows *sql.Rows) error {
		var n int64
		err := rows.Scan(&n)
		there[n] = true
		return err
	}, `SELECT n FROM runs WHERE n >= ?`, b.next)
	return func(n int64) bool { return there[n] }, err
}

func insertRuns(columns uint32, rows int) string {
	var text strings.Builder
	text.WriteString("INSERT INTO runs (n")
	for i, name := range writtenColumns {
		if columns&(1<<i) != 0 {
			text.WriteString(", " + name)
		}
	}
	row := "(?" + strings.Repeat(", ?", bits.OnesCount32(columns)) + ")"
	text.WriteString(") VALUES " + row + strings.Repeat(", "+row, rows-1) + " ON CONFLICT (id) DO NOTHING")
	return text.String()
}

// resultBatch stores the results of new runs that have results of the same names,
// units and directions: these are bound once.
type resultBatch struct {
	w     *runWriter
	terms []any // name, unit, better of each
	runs  int   // that wait
	args  []any // terms, then of each run its n and values
}

func (b *resultBatch) put(n int64, results map[string]run.Result) error {
	if len(results) == 0 {
		return nil
	}
	names := slices.Sorted(maps.Keys(results)) // in the table's order
	if !b.fits(names, results) || b.runs == batchRuns {
		if err := b.flush(); err != nil {
			return err
		}
		b.terms = b.terms[:0]
		for _, name := range names {
			b.terms = append(b.terms, name, results[name].Unit, string(results[name].Better))
		}
		b.args = append(b.args[:0], b.terms...)
	}
	b.args = append(b.args, n)
	for _, name := range names {
		b.args = append(b.args, results[name].Value)
	}
	b.runs++
	return nil
}

// fits tells whether results have the terms of those that wait.
func (b *resultBatch) fits(names []string, results map[string]run.Result) bool {
	if len(b.terms) != resultTerms*len(names) {
		return false
	}
	for i, name := range names {
		r, t := results[name], b.terms[resultTerms*i:]
		if t[0] != name || t[1] != r.Unit || t[2] != string(r.Better) {
			return false
		}
	}
	return true
}

const resultTerms = 3

func (b *resultBatch) flush() error {
	if b.runs == 0 {
		return nil
	}
	_, err := b.w.exec(insertResults(len(b.terms)/resultTerms, b.runs), b.args...)
	b.args, b.runs = append(b.args[:0], b.terms...), 0
	return err
}

// insertResults inserts the same number of results for each run.
func insertResults(each, runs int) string {
	var text strings.Builder
	text.WriteString("INSERT INTO results (run, name, value, unit, better) VALUES ")
	mark := func(before string, number int) {
		text.WriteString(before)
		text.WriteString(strconv.Itoa(number))
	}
	next := resultTerms*each + 1
	for j := range runs {
		for i := range each {
			if i+j > 0 {
				text.WriteString(", ")
			}
			t := resultTerms * i
			mark("(?", next)
			mark(", ?", t+1)
			mark(", ?", next+1+i)
			mark(", ?", t+2)
			mark(", ?", t+3)
			text.WriteByte(')')
		}
		next += 1 + each
	}
	return text.String()
}
