package sqlite

import (
	"context"
	"database/sql"
	"slices"
	"time"

	"sweepd/run"
)

// trace walks one series after the other.
type trace struct {
	store   *Store
	ctx     context.Context // of the call that opened the trace
	sensors []run.Sensor
	series  []storedSeries
	since   time.Time // earlier sweeps are left out; zero: none
	lost    []run.Loss
	gone    bool // there may have been some series that is gone
}

// Trace opens the sweeps stored for a run; a run without any has an empty one.
// The id is a full one.
//
// A row that is damaged or lost takes the rows up to the next key row with it,
// at most 64; the walk goes on there, and Lost says what was left out.
func (s *Store) Trace(ctx context.Context, runID string) (run.Trace, error) {
	return s.traceOf(ctx, runID, s.kept())
}

// traceOf opens the sweeps of a run among those that fulfil a condition.
func (s *Store) traceOf(ctx context.Context, runID, which string) (run.Trace, error) {
	n, _, err := runState(ctx, s.read, runID, which)
	if err != nil {
		return nil, s.fail("reading readings of", err)
	}
	ids, err := numbers(ctx, s.read, `SELECT id FROM series WHERE run = ?`, n)
	if err == nil && len(ids) == 0 { // of most imported runs; or the index has lost it
		ids, err = numbers(ctx, s.read, `SELECT id FROM series NOT INDEXED WHERE run = ?`, n)
	}
	if err != nil {
		return nil, s.fail("reading readings of", err)
	}
	return s.openTrace(ctx, runID, ids, time.Time{})
}

// formerNames are the devices of which the runs were given another's name, and all of
// them: what was swept between their runs is the other's. ?1 is its name.
const formerNames = `SELECT old FROM corrections WHERE what = 'device' AND new = ?1 AND old NOT IN (SELECT device FROM runs)`

// IdleSweeps walks the idle sweeps stored for the device since a moment, those too that
// were stored before it was renamed.
func (s *Store) IdleSweeps(ctx context.Context, device string, since time.Time) (run.Trace, error) {
	// The last series that began before since may reach beyond it. A damaged index may have
	// lost some.
	named := textOf("device") + " = ?1"
	if s.version >= 3 {
		named = "(" + named + " OR " + textOf("device") + " IN (" + formerNames + "))"
	}
	ids, err := numbers(ctx, s.read, `SELECT id FROM series NOT INDEXED WHERE run IS NULL AND `+named+` AND started_ms >= coalesce((
			SELECT max(started_ms) FROM series NOT INDEXED WHERE run IS NULL AND `+named+` AND started_ms <= ?2), ?2)
		ORDER BY started_ms, id`, device, since.UnixMilli())
	if err != nil {
		return nil, s.fail("reading idle readings of", err)
	}
	t, err := s.openTrace(ctx, "", ids, since)
	if err == nil && s.version >= 2 {
		t.gone, err = strayed(ctx, s.read)
	}
	return t, s.fail("reading idle readings of", err)
}

// openTrace opens series of a run, or idle ones.
func (s *Store) openTrace(ctx context.Context, runID string, ids []int64, since time.Time) (*trace, error) {
	t := &trace{store: s, ctx: ctx, since: since}
	if len(ids) == 0 && s.version >= 2 {
		// It is not known of which run a series is that is gone.
		err := s.read.QueryRowContext(ctx, `SELECT EXISTS (SELECT 1 FROM series_checksums WHERE series NOT IN (SELECT id FROM series NOT INDEXED))`).Scan(&t.gone)
		if err != nil {
			return nil, s.fail("reading readings of", err)
		}
	}
	for _, id := range ids {
		x, err := readSeries(ctx, s.read, id, s.version)
		if err != nil {
			return nil, s.fail("reading readings of", err)
		}
		if x.damaged = x.damaged || x.runID != runID; !x.damaged { // an index may have named another's
			x.places = t.merge(x.sensors)
		}
		t.series = append(t.series, x)
	}
	return t, nil
}

// merge adds a series' sensors to the trace's, and says where each stands.
func (t *trace) merge(sensors []run.Sensor) []int {
	if len(t.sensors) == 0 || slices.Equal(sensors, t.sensors) {
		t.sensors = slices.Clone(sensors)
		return nil
	}
	places := make([]int, len(sensors))
	for i, x := range sensors {
		at := slices.Index(t.sensors, x)
		if at < 0 {
			at = len(t.sensors)
			t.sensors = append(t.sensors, x)
		}
		places[i] = at
	}
	return places
}

// Sensors are those of all the trace's sweeps.
func (t *trace) Sensors() []run.Sensor { return t.sensors }

// Each walks the sweeps in order; the Sweep's Values hold until the next call.
func (t *trace) Each(f func(run.Sweep) error) error {
	t.lost = nil
	if t.gone {
		t.store.notice("readings that are gone")
		t.lost = []run.Loss{{Code: run.DataDamaged, AtLeast: true}}
	}
	for i := range t.series {
		if err := t.eachOf(&t.series[i], f); err != nil {
			return err
		}
	}
	return nil
}

// Lost are the stretches of damaged and lost rows that Each left out.
func (t *trace) Lost() []run.Loss { return t.lost }

func (t *trace) eachOf(x *storedSeries, f func(run.Sweep) error) error {
	w := walker{trace: t, series: x, f: f, identity: x.identity(), wall: time.UnixMilli(x.startedMs).UTC()}
	if x.damaged { // and with it what its readings mean
		w.lose(w.wall, w.wall, 0)
		return nil
	}
	w.grow(x.sensors)
	first, err := t.firstRow(x.id)
	if err != nil {
		return err
	}
	rows, err := t.store.read.QueryContext(t.ctx, `SELECT id, at_ms, sweeps, data FROM readings WHERE id BETWEEN ? AND ? ORDER BY id`, first, x.id<<32|0xffffffff)
	if err != nil {
		return t.store.fail("reading readings of", err)
	}
	defer rows.Close()
	for rows.Next() {
		var r row
		if err := rows.Scan(&r.id, &r.atMs, &r.sweeps, &r.data); err != nil {
			return t.store.fail("reading readings of", err)
		}
		if err := w.row(r); err != nil {
			return err
		}
	}
	if x.rows.Int64 > (w.seen+1)&0xffffffff {
		w.lose(w.wall, w.wall, 0)
	}
	return t.store.fail("reading readings of", rows.Err())
}

// firstRow is a row before since with a key row between the two, else the
// series' first.
func (t *trace) firstRow(series int64) (int64, error) {
	first := series << 32
	if t.since.IsZero() {
		return first, nil
	}
	var before sql.NullInt64
	err := t.store.read.QueryRowContext(t.ctx, `SELECT max(id) FROM readings WHERE id BETWEEN ? AND ? AND at_ms < ?`,
		first, first|0xffffffff, t.since.UnixMilli()).Scan(&before)
	if err != nil {
		return 0, t.store.fail("reading readings of", err)
	}
	return max(first, before.Int64-keyEvery), nil
}

// walker hands the sweeps of one series on.
type walker struct {
	unpacker
	trace    *trace
	series   *storedSeries
	f        func(run.Sweep) error
	identity uint32    // of the series
	seen     int64     // id of the last row; 0: none yet
	last     int64     // id of the last good row; 0: wait for a key row
	losing   bool      // the last row was lost
	wall     time.Time // of the last sweep
	placed   []float64
}

func (w *walker) row(r row) error {
	at := time.UnixMilli(r.atMs).UTC()
	data, sound := w.open(&r)
	if !sound { // what it tells of itself may be wrong too
		at, r.sweeps = w.wall, 0
	}
	if w.seen == 0 {
		w.seen, w.wall = w.series.id<<32-1, at
		if !w.trace.since.IsZero() { // it did not begin at the series' first
			w.seen = r.id - 1
		}
	}
	if r.id != w.seen+1 {
		w.lose(w.wall, at, 0)
	}
	w.seen = r.id
	isKey := len(data) > 0 && data[0]&rowKey != 0
	follows := isKey || r.id == w.last+1
	w.last = 0
	if !follows || w.unpack(data) != nil { // what it goes on from is lost, or it is damaged; a key row follows
		if !sound || !at.Before(w.trace.since) {
			w.lose(at, at, r.sweeps)
		}
		return nil
	}
	w.last = r.id
	if w.losing {
		w.trace.lost[len(w.trace.lost)-1].To = w.times[0].Wall
		w.losing = false
	}
	w.wall = w.times[len(w.times)-1].Wall
	for i := range w.times {
		if err := w.sweep(i); err != nil {
			return err
		}
	}
	return nil
}

// open is a row's data, false where it is damaged. The rows of an older version's file
// have no checksum.
func (w *walker) open(r *row) (data []byte, sound bool) {
	if w.series.format != packFormat {
		return r.data, true
	}
	return r.open(w.identity)
}

// lose notes what cannot be read; 0 sweeps: nobody knows how many.
func (w *walker) lose(from, to time.Time, sweeps int) {
	of := "idle readings of " + w.series.device
	if w.series.runID != "" {
		of = "readings of run " + w.series.runID
	}
	w.trace.store.notice(of)
	if !w.losing {
		w.trace.lost = append(w.trace.lost, run.Loss{Code: run.DataDamaged, From: from})
		w.losing = true
	}
	l := &w.trace.lost[len(w.trace.lost)-1]
	l.To, l.Sweeps, l.AtLeast = to, l.Sweeps+sweeps, l.AtLeast || sweeps == 0
}

func (w *walker) sweep(i int) error {
	if w.times[i].Wall.Before(w.trace.since) {
		return nil
	}
	s := run.Sweep{At: w.times[i], Values: w.place(w.values[i*w.width : (i+1)*w.width])}
	if l := w.unpacker.labels[i]; l < len(w.series.labels) {
		s.Setting, s.Supply = w.series.labels[l].setting, w.series.labels[l].supply
	}
	return w.f(s)
}

// place moves values to the places of the trace's sensors.
func (w *walker) place(values []float64) []float64 {
	if w.series.places == nil {
		return values
	}
	w.placed = grown(w.placed, len(w.trace.sensors))
	fillMissing(w.placed)
	for i, v := range values {
		w.placed[w.series.places[i]] = v
	}
	return w.placed
}
