package sqlite

import (
	"context"
	"database/sql"
	"fmt"
	"math"
	"strings"

	"sweepd/run"
)

// part is one of what a run is kept in, each with a checksum of its own, so that what is
// not read need not be checked.
type part int

const (
	partRow part = iota // all that is in `runs`, but the facts
	partResults
	partFindings
	partFacts
	partSummaries
	partHistory
	parts
)

var partNames = [parts]string{"labels and watts", "results", "findings", "facts", "summaries", "history"}

// runSums are the checksums of a run's parts.
type runSums [parts]uint32

// of binds the parts to their run.
func (x runSums) of(s *summer, id string) runSums {
	for i := partResults; i < parts; i++ { // the row has the id
		x[i] = s.add(x[i], id)
	}
	return x
}

const sumColumns = "run_row, results, findings, facts, summaries, history"

const insertSums = `INSERT OR REPLACE INTO run_checksums (run, ` + sumColumns + `) VALUES (?, ?, ?, ?, ?, ?, ?)`

func (x runSums) values(n int64) []any {
	values := []any{n}
	for _, sum := range x {
		values = append(values, int64(sum))
	}
	return values
}

// storedSums are the checksums that a run was stored with; all are NULL where it has none.
type storedSums [parts]sql.NullInt64

func (x *storedSums) scanned() (into []any) {
	for i := range x {
		into = append(into, &x[i])
	}
	return into
}

// partSet is what does not have the checksum it was stored with.
type partSet [parts]bool

func (x partSet) any() bool { return x != partSet{} }

// spoilt tells whether nothing of the run may be made use of: the parts are left out
// where they are damaged, and without these there is no run.
func (x partSet) spoilt() bool { return x[partRow] || x[partResults] }

func (x partSet) String() string { return strings.Join(x.names(), ", ") }

func (x partSet) names() []string {
	names := []string{}
	for i, damaged := range x {
		if damaged {
			names = append(names, partNames[i])
		}
	}
	return names
}

// checked are the parts that are read for a content.
var checked = map[content][]part{
	rowOnly:  {partRow},
	listed:   {partRow, partResults, partFindings},
	analysed: {partRow, partResults, partFindings, partFacts},
	whole:    {partRow, partResults, partFindings, partFacts, partSummaries, partHistory},
}

// check holds the runs against the checksums they were stored with, and takes out what is
// damaged. A file of version 1 has none.
func (r *runReader) check(what content) {
	for i := range r.runs {
		r.sums[i] = r.sums[i].of(&r.summer, r.runs[i].ID)
		odd := r.odd(i)
		for _, p := range checked[what] {
			r.damage[i][p] = r.damage[i][p] || odd[p] || !r.fits(r.stored[i][p], r.sums[i][p])
		}
		if r.damage[i].any() {
			r.takeOut(i)
		}
	}
}

// fits tells whether a checksum is the stored one.
func (r *runReader) fits(stored sql.NullInt64, sum uint32) bool {
	return r.version < 2 || stored.Valid && stored.Int64 == int64(sum)
}

// takeOut takes what is damaged out of a run, and says so in a finding.
func (r *runReader) takeOut(i int) {
	one, damage := &r.runs[i], r.damage[i]
	f := run.Finding{Code: run.DataDamaged, Severity: run.SeverityDoubt,
		Text: fmt.Sprintf("the stored %s are damaged and left out", damage)}
	if damage.spoilt() {
		f.Severity = run.SeverityReject
		*one = run.Run{ID: shortened(one.ID), Labels: withoutOddTexts(one.Labels), State: run.Rejected, Why: string(run.DataDamaged) + ": " + f.Text, StartedAt: one.StartedAt,
			Results: map[string]run.Result{}, Findings: []run.Finding{}, Facts: one.Facts}
	}
	if damage[partFindings] {
		one.Findings = []run.Finding{}
	}
	if damage[partFacts] && one.Facts != nil {
		one.Facts = map[string]string{}
	}
	one.Findings = append(one.Findings, f)
	run.Advise(one.Findings[len(one.Findings)-1:])
	if r.others == nil {
		return
	}
	if damage.spoilt() {
		r.others[i].warmUpS, r.others[i].loadEndS = nil, nil
	}
	if damage.spoilt() || damage[partSummaries] {
		r.others[i].summaries = []run.Summary{}
	}
	if damage.spoilt() || damage[partHistory] {
		r.others[i].history = noHistory()
	}
}

// change changes a run and seals it again. A run that is damaged is not touched, since it
// would pass for whole from then on.
func (w *runWriter) change(n int64, f func(before *run.Record) error) error {
	before, err := readRuns(w.ctx, w.tx, Version, runNumber(n), whole)
	if err != nil {
		return err
	}
	if before.damage[0].any() {
		return fmt.Errorf("%w: its stored %s", ErrDamaged, before.damage[0])
	}
	if err := f(&before.records()[0]); err != nil {
		return err
	}
	return sealRuns(w.ctx, w.tx, runNumber(n))
}

// spans selects all runs, some together. Their numbers may lie far apart.
func spans(ctx context.Context, q queryer, together int64, f func(selection) error) error {
	for from := int64(math.MinInt64); ; {
		var first sql.NullInt64
		if err := q.QueryRowContext(ctx, `SELECT min(n) FROM runs NOT INDEXED WHERE n >= ?`, from).Scan(&first); err != nil || !first.Valid {
			return err
		}
		last := first.Int64 + min(together-1, math.MaxInt64-first.Int64)
		if err := f(selection{where: "n BETWEEN ? AND ?", args: []any{first.Int64, last}, named: true}); err != nil || last == math.MaxInt64 {
			return err
		}
		from = last + 1
	}
}

// runNumber is the run of that number in the file.
func runNumber(n int64) selection {
	return selection{where: "n = ?", args: []any{n}, named: true}
}

// sealRuns stores the checksums of runs as they are.
func sealRuns(ctx context.Context, tx *sql.Tx, chosen selection) error {
	r, err := readRuns(ctx, tx, Version, chosen, whole)
	if err != nil {
		return err
	}
	for i := range r.runs {
		if _, err := tx.ExecContext(ctx, insertSums, r.sums[i].values(r.numbers[i])...); err != nil {
			return err
		}
	}
	return nil
}

// sealAll gives all runs and readings that an older version stored their checksums.
func sealAll(ctx context.Context, tx *sql.Tx) error {
	const together = 1000
	err := spans(ctx, tx, together, func(chosen selection) error { return sealRuns(ctx, tx, chosen) })
	if err != nil {
		return err
	}
	all, err := numbers(ctx, tx, `SELECT id FROM series`)
	if err != nil {
		return err
	}
	for _, id := range all {
		if err := sealSeries(ctx, tx, id); err != nil {
			return err
		}
	}
	if err := closeSeries(ctx, tx, `SELECT id FROM series WHERE run IS NULL OR run IN (SELECT n FROM runs WHERE state <> 'recording')`); err != nil {
		return err
	}
	return sealOthers(ctx, tx)
}

// lostRuns asks for the numbers of runs that have checksums and are not there any more:
// not in the table itself, for an index may have what it lacks.
const lostRuns = `SELECT run FROM run_checksums WHERE run NOT IN (SELECT n FROM runs NOT INDEXED)`

// findLost tells which runs are gone where so many were found.
func findLost(ctx context.Context, tx *sql.Tx, found int) (lost []int64, err error) {
	var sealed int
	if err := tx.QueryRowContext(ctx, `SELECT count(*) FROM run_checksums`).Scan(&sealed); err != nil || sealed == found {
		return nil, err
	}
	return numbers(ctx, tx, lostRuns)
}
