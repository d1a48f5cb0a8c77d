package sqlite

import (
	"context"
	"database/sql"
	"fmt"
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
}

type storedSeries struct {
	id      int64
	sensors []run.Sensor
	labels  []label
	// places says where each sensor stands among the trace's; nil: the same.
	places []int
}

// Trace opens the sweeps stored for a run; a run without any has an empty one.
// The id is a full one.
//
// A row that is damaged or lost takes the rows up to the next key row with it,
// at most 64; the walk goes on there, and Lost says what was left out.
func (s *Store) Trace(ctx context.Context, runID string) (run.Trace, error) {
	var series sql.NullInt64
	var runs int
	err := s.read.QueryRowContext(ctx, `SELECT count(*), (SELECT id FROM series WHERE run = n) FROM runs WHERE id = ? AND `+s.kept(), runID).Scan(&runs, &series)
	if err == nil && runs == 0 {
		err = fmt.Errorf("run %s: %w", runID, run.ErrNoRun)
	}
	if err != nil {
		return nil, s.fail("reading readings of", err)
	}
	var ids []int64
	if series.Valid {
		ids = append(ids, series.Int64)
	}
	return s.openTrace(ctx, ids, time.Time{})
}

// IdleSweeps walks the idle sweeps stored for the device since a moment.
func (s *Store) IdleSweeps(ctx context.Context, device string, since time.Time) (run.Trace, error) {
	var ids []int64
	// The last series that began before since may reach beyond it.
	err := each(ctx, s.read, func(rows *sql.Rows) error {
		var id int64
		err := rows.Scan(&id)
		ids = append(ids, id)
		return err
	}, `SELECT id FROM series WHERE run IS NULL AND device = ?1 AND started_ms >= coalesce((
			SELECT max(started_ms) FROM series WHERE run IS NULL AND device = ?1 AND started_ms <= ?2), ?2)
		ORDER BY started_ms, id`, device, since.UnixMilli())
	if err != nil {
		return nil, s.fail("reading idle readings of", err)
	}
	return s.openTrace(ctx, ids, since)
}

func (s *Store) openTrace(ctx context.Context, ids []int64, since time.Time) (*trace, error) {
	t := &trace{store: s, ctx: ctx, since: since}
	for _, id := range ids {
		x := storedSeries{id: id}
		var err error
		if x.sensors, err = seriesSensors(ctx, s.read, id); err != nil {
			return nil, s.fail("reading readings of", err)
		}
		if x.labels, err = seriesLabels(ctx, s.read, id); err != nil {
			return nil, s.fail("reading readings of", err)
		}
		x.places = t.merge(x.sensors)
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
	w := walker{trace: t, series: x, f: f}
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
	trace  *trace
	series *storedSeries
	f      func(run.Sweep) error
	seen   int64     // id of the last row; 0: none yet
	last   int64     // id of the last good row; 0: wait for a key row
	losing bool      // the last row was lost
	wall   time.Time // of the last sweep
	placed []float64
}

// row is one of the table readings.
type row struct {
	id, atMs int64
	sweeps   int
	data     sql.RawBytes
}

func (w *walker) row(r row) error {
	at := time.UnixMilli(r.atMs).UTC()
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
	isKey := len(r.data) > 0 && r.data[0]&rowKey != 0
	follows := isKey || r.id == w.last+1
	w.last = 0
	if !follows || w.unpack(r.data) != nil { // what it goes on from is lost, or it is damaged; a key row follows
		if !at.Before(w.trace.since) {
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

// lose notes what cannot be read; 0 sweeps: nobody knows how many.
func (w *walker) lose(from, to time.Time, sweeps int) {
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
