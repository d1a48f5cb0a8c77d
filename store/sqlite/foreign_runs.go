package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"modernc.org/sqlite"
	sqlite3 "modernc.org/sqlite/lib"

	"sweepd/run"
	"sweepd/store"
)

// badRun is why a run of a foreign file cannot be taken over. The others can.
type badRun struct{ err error }

func (e *badRun) Error() string { return e.err.Error() }

func bad(format string, args ...any) error { return &badRun{fmt.Errorf(format, args...)} }

// ofRun tells what is wrong with one run from what keeps the whole file from being read.
func ofRun(ctx context.Context, err error) error {
	var broken *sqlite.Error
	switch {
	case err == nil || ctx.Err() != nil:
		return err
	case errors.As(err, &broken):
		switch broken.Code() & 0xff {
		case sqlite3.SQLITE_TOOBIG:
			return bad("it has a text or a row of more than %d bytes", maxValue)
		case sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_MISMATCH:
		default:
			return err
		}
	}
	return bad("its data is damaged: %w", err)
}

// Bounds of a foreign run and its readings, far above what any agent makes.
const (
	maxParts     = 1000   // rows of each table of parts, but summaries
	maxSensors   = 20000  // of a series, and summaries
	maxLabels    = 100000 // of a series
	maxFactTexts = 1000000
)

// foreignRun is a run of another file with all that hangs on it.
type foreignRun struct {
	run.Record
	stateBefore run.State
	history     store.History
	setAt       map[string]string // of results
	series      *foreignSeries    // nil: no readings
}

// readRuns reads runs by their numbers: together, since that takes a third of the time,
// and each for itself where that fails.
func (f *foreign) readRuns(ctx context.Context, some []int64) (runs []*foreignRun, errs []error) {
	if runs, err := f.readTogether(ctx, some); err == nil {
		return runs, make([]error, len(some))
	}
	for _, n := range some {
		one, err := f.readTogether(ctx, []int64{n})
		if err != nil {
			one = []*foreignRun{nil}
		}
		runs, errs = append(runs, one[0]), append(errs, ofRun(ctx, err))
	}
	return runs, errs
}

func (f *foreign) readTogether(ctx context.Context, some []int64) (runs []*foreignRun, err error) {
	list := strings.Trim(strings.Join(strings.Fields(fmt.Sprint(some)), ","), "[]")
	for table, most := range map[string]int{"results": maxParts, "result_history": maxParts, "decisions": maxParts, "corrections": maxParts, "findings": maxParts, "summaries": maxSensors} {
		if table == "corrections" && f.version < 3 {
			continue
		}
		var many int
		if err := f.tx.QueryRowContext(ctx, fmt.Sprintf(`SELECT count(*) FROM (SELECT 1 FROM %s WHERE run IN (%s) LIMIT %d)`, table, list, most+1)).Scan(&many); err != nil {
			return nil, err
		} else if many > most {
			return nil, fmt.Errorf("more than %d rows of %s", most, table)
		}
	}
	r, err := readRuns(ctx, f.tx, f.version, selection{where: "n IN (" + list + ")", named: true}, whole)
	if err == nil && len(r.runs) != len(some) {
		err = fmt.Errorf("%d of %d runs can be read", len(r.runs), len(some))
	}
	if err != nil {
		return nil, err
	}
	records := r.records()
	byNumber := map[int64]*foreignRun{}
	for _, n := range some {
		i := r.at[n]
		if r.damage[i].any() {
			return nil, fmt.Errorf("%w: its stored %s", ErrDamaged, r.damage[i])
		}
		x := &foreignRun{Record: records[i], history: r.others[i].history, setAt: map[string]string{}}
		byNumber[n] = x
		runs = append(runs, x)
	}
	return runs, f.readRest(ctx, list, byNumber)
}

// readRest reads what records do not tell.
func (f *foreign) readRest(ctx context.Context, list string, runs map[int64]*foreignRun) error {
	err := each(ctx, f.tx, func(rows *sql.Rows) error {
		var n int64
		var before string
		var series sql.NullInt64
		err := rows.Scan(&n, &before, &series)
		if x := runs[n]; x != nil && err == nil {
			x.stateBefore = run.State(before)
			if series.Valid {
				x.series, err = f.readSeries(ctx, series.Int64)
			}
		}
		return err
	}, `SELECT n, state_before, (SELECT id FROM series WHERE run = n) FROM runs WHERE n IN (`+list+`)`)
	if err != nil {
		return err
	}
	return each(ctx, f.tx, func(rows *sql.Rows) error {
		var n int64
		var name, at string
		err := rows.Scan(&n, &name, &at)
		if x := runs[n]; x != nil {
			x.setAt[name] = at
		}
		return err
	}, `SELECT run, name, set_at FROM results WHERE run IN (`+list+`) AND set_at IS NOT NULL`)
}

// check tells why the run cannot be taken over, but for its readings.
func (x *foreignRun) check() error {
	if err := x.CheckImported(); err != nil {
		return &badRun{err}
	}
	switch x.stateBefore {
	case "", run.Finished, run.Interrupted:
	default:
		return bad("%q is no state before it was rejected", run.Shorten(string(x.stateBefore)))
	}
	for name, at := range x.setAt {
		if _, err := parseStamp(at); err != nil {
			return bad("result %s: %w", name, err)
		}
	}
	for _, h := range x.history.Results {
		if err := run.CheckResult(h.Name, h.Result); err != nil {
			return bad("its history: %w", err)
		}
	}
	for _, c := range x.history.Corrections {
		if err := checkCorrected(c); err != nil {
			return bad("its history: %w", err)
		}
	}
	for _, d := range x.history.Decisions {
		if !slices.Contains([]run.Decision{run.Reject, run.Keep, run.Unkeep, run.Trim, run.Untrim}, d.What) || d.Who != "user" && d.Who != "finding" || len(d.Why) > maxReason {
			return bad("its history: %q by %q is no decision", run.Shorten(string(d.What)), run.Shorten(d.Who))
		}
	}
	return nil
}

// checkCorrected tells why a correction cannot be taken over.
func checkCorrected(c store.Corrected) error {
	if c.At.IsZero() {
		return errors.New("a correction at no time")
	}
	one := run.Correction{Changes: []run.Change{c.Change, c.Back()}, Batch: c.Batch, Undoes: c.Undoes, Who: c.Who, Why: c.Why}
	if c.What == run.FieldDevice || c.What == run.FieldWorkload {
		one.Changes = one.Changes[:1] // of data of other versions anything may have been there before
	}
	return one.Check()
}

const maxReason = 16 * 1024

// nameOf is what a bad run is called: its id, unless that is what is bad.
func (f *foreign) nameOf(ctx context.Context, n int64) string {
	var id sql.NullString
	err := f.tx.QueryRowContext(ctx, `SELECT CASE WHEN octet_length(id) <= 64 THEN CAST(id AS TEXT) END FROM runs WHERE n = ?`, n).Scan(&id)
	if err != nil || run.CheckID(id.String) != nil {
		return fmt.Sprintf("number %d of the other file", n)
	}
	return id.String
}

// foreignSeries is a series of another file, and its id here.
type foreignSeries struct {
	storedSeries
	here int64
}

// readSeries reads a series of which all but the rows can be taken over.
func (f *foreign) readSeries(ctx context.Context, id int64) (*foreignSeries, error) {
	var sensors, labels, lastSensor, lastLabel int
	err := f.tx.QueryRowContext(ctx, fmt.Sprintf(`SELECT
		(SELECT count(*) FROM (SELECT 1 FROM series_sensors WHERE series = ?1 LIMIT %[1]d)), (SELECT coalesce(max(position) + 1, 0) FROM series_sensors WHERE series = ?1),
		(SELECT count(*) FROM (SELECT 1 FROM series_labels WHERE series = ?1 LIMIT %[2]d)), (SELECT coalesce(max(position) + 1, 0) FROM series_labels WHERE series = ?1)`,
		maxSensors+1, maxLabels+1), id).Scan(&sensors, &lastSensor, &labels, &lastLabel)
	if err != nil {
		return nil, ofRun(ctx, err)
	}
	if sensors > maxSensors || labels > maxLabels || sensors != lastSensor || labels != lastLabel || id <= 0 || id > math.MaxInt32 {
		return nil, bad("its readings have %d sensors up to %d, %d labels up to %d", sensors, lastSensor, labels, lastLabel)
	}
	s := &foreignSeries{}
	if s.storedSeries, err = readSeries(ctx, f.tx, id, f.version); err != nil {
		return nil, ofRun(ctx, err)
	}
	if s.damaged || len(s.sensors) != sensors || s.format != packFormat && s.format != 1 {
		return nil, bad("%w: what its readings are of", ErrDamaged)
	}
	return s, s.check()
}

// latest is the last moment that RFC 3339 can tell.
var latest = time.Date(9999, 12, 31, 23, 59, 59, 0, time.UTC).UnixMilli()

func (s *foreignSeries) check() error {
	if err := run.CheckLabel("device", s.device); err != nil {
		return bad("its readings: %w", err)
	}
	if s.startedMs < -latest || s.startedMs > latest {
		return bad("its readings start at %d ms", s.startedMs)
	}
	for _, x := range s.sensors {
		if err := x.CheckImported(); err != nil {
			return bad("its readings: %w", err)
		}
	}
	for _, l := range s.labels {
		if err := l.setting.CheckImported(); err != nil {
			return bad("its readings: %w", err)
		}
		if l.supply != run.Mains && l.supply != run.Battery && l.supply != run.SupplyUnknown {
			return bad("its readings: supply %q", run.Shorten(string(l.supply)))
		}
	}
	return nil
}

// checkReadings tells why the readings of a run cannot be taken over.
func (f *foreign) checkReadings(ctx context.Context, s *foreignSeries) error {
	rows := f.rowsOf(ctx, s)
	count := int64(0)
	for rows.next() {
		if rows.damaged {
			rows.close()
			return bad("%w: row %d of its readings", ErrDamaged, rows.id&0xffffffff)
		}
		count = rows.id&0xffffffff + 1
	}
	if err := errors.Join(rows.err, rows.close()); err != nil {
		return ofRun(ctx, err)
	}
	if s.rows.Valid && s.rows.Int64 > count {
		return bad("%w: %d of %d rows of its readings are there", ErrDamaged, count, s.rows.Int64)
	}
	return nil
}

// foreignRows walks the rows of a series, sealed as those here are.
type foreignRows struct {
	unpacker
	row
	series   *foreignSeries
	identity uint32
	rows     *sql.Rows
	err      error
	last     int64 // id of the last row that can be gone on from
	mono     time.Duration
	damaged  bool // the row is not to be taken over
}

func (f *foreign) rowsOf(ctx context.Context, s *foreignSeries) *foreignRows {
	r := &foreignRows{series: s, identity: s.identity()}
	r.grow(s.sensors)
	r.rows, r.err = f.tx.QueryContext(ctx, `SELECT id, at_ms, sweeps, data FROM readings WHERE id BETWEEN ? AND ? ORDER BY id`, s.id<<32, s.id<<32|0xffffffff)
	return r
}

func (r *foreignRows) close() error {
	if r.rows == nil {
		return nil
	}
	return r.rows.Close()
}

// next goes to the next row, false at the end or after an error.
func (r *foreignRows) next() bool {
	if r.err != nil || !r.rows.Next() {
		if r.err == nil {
			r.err = r.rows.Err()
		}
		return false
	}
	r.id, r.damaged = 0, false
	if err := r.rows.Scan(&r.id, &r.atMs, &r.sweeps, &r.row.data); err != nil {
		r.damaged = true // it holds something else than numbers and data
		return true
	}
	data, sound := []byte(r.row.data), true
	if r.series.format == packFormat {
		data, sound = r.open(r.identity)
	} else {
		r.row.data = r.seal(r.identity)
	}
	r.damaged = !sound || !r.holds(data)
	return true
}

// holds tells whether a row is one that can be read, as far as that can be told: one
// whose row before is missing cannot be read by anybody.
func (r *foreignRows) holds(data []byte) bool {
	isKey := len(data) > 0 && data[0]&rowKey != 0
	if !isKey && r.id != r.last+1 {
		return true
	}
	r.last = 0
	if r.unpack(data) != nil || r.sweeps != len(r.times) {
		return false
	}
	if wall := r.times[0].Wall.UnixMilli(); max(wall-r.atMs, r.atMs-wall) > 1 || wall < -latest || wall > latest {
		return false
	}
	for i, at := range r.times {
		if at.Mono < r.mono || r.unpacker.labels[i] >= len(r.series.labels) {
			return false
		}
		r.mono = at.Mono
	}
	for _, v := range r.values {
		if math.IsInf(v, 0) {
			return false
		}
	}
	r.last = r.id
	return true
}
