package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"os"
	"slices"

	"sweepd/run"
	"sweepd/store"
)

// ErrSameFile is returned by Merge where both files are one.
var ErrSameFile = errors.New("is the same file")

// mergeRuns is how many runs are read together.
const mergeRuns = 20

// Merge takes over the runs of another data file, see store.Importer.
func (s *Store) Merge(ctx context.Context, path string, progress func(done, total int)) (store.MergeReport, error) {
	none := store.MergeReport{Recording: []string{}, Conflicts: []store.Conflict{}, Bad: []store.BadRun{}}
	if s.write == nil {
		return none, explain("merging", path, errReadOnly)
	}
	other, err := openForeign(ctx, path)
	if err != nil {
		return none, explain("merging", path, err)
	}
	m := merger{store: s, other: other, progress: progress, report: none}
	err = m.merge(ctx)
	if ctx.Err() != nil { // which may show as a transaction that is gone
		err = ctx.Err()
	}
	if err = errors.Join(err, other.close()); err != nil {
		return none, explain("merging", path, err)
	}
	return m.report, nil
}

type merger struct {
	*intake
	store    *Store
	other    *foreign
	progress func(done, total int)
	report   store.MergeReport
}

func (m *merger) merge(ctx context.Context) (err error) {
	here, err := os.Stat(m.store.path)
	if err != nil {
		return err
	}
	there, err := os.Stat(m.other.path)
	if err != nil {
		return err
	}
	if os.SameFile(here, there) {
		return fmt.Errorf("%w as %s", ErrSameFile, m.store.path)
	}
	if m.intake, err = m.store.newIntake(ctx); err != nil {
		return err
	}
	if err = m.runs(ctx); err == nil {
		err = m.finish(ctx)
	}
	if err != nil {
		if e := m.abandon(context.WithoutCancel(ctx)); e != nil && !errors.Is(e, errTaken) {
			err = errors.Join(err, fmt.Errorf("taking out again what was stored (the next merge does it): %w", e))
		}
		return err
	}
	return m.idle(ctx)
}

func (m *merger) runs(ctx context.Context) error {
	var total, done int
	if err := m.other.tx.QueryRowContext(ctx, `SELECT count(*) FROM runs WHERE `+m.other.kept()).Scan(&total); err != nil {
		return err
	}
	for last := int64(0); ; {
		some, err := numbers(ctx, m.other.tx, `SELECT n FROM runs WHERE n > ? AND `+m.other.kept()+` ORDER BY n LIMIT ?`, last, mergeRuns)
		if err != nil || len(some) == 0 {
			return err
		}
		if err := m.some(ctx, some); err != nil {
			return err
		}
		last = some[len(some)-1]
		if done += len(some); m.progress != nil {
			m.progress(done, total)
		}
	}
}

// numbers are what a query of one column gives.
func numbers(ctx context.Context, q rowsQueryer, query string, args ...any) (all []int64, err error) {
	err = each(ctx, q, func(rows *sql.Rows) error {
		var n int64
		err := rows.Scan(&n)
		all = append(all, n)
		return err
	}, query, args...)
	return all, err
}

// some merges the other file's runs of these numbers.
func (m *merger) some(ctx context.Context, some []int64) error {
	var fresh []*foreignRun
	for _, n := range some {
		x, err := m.other.readRun(ctx, n)
		if err == nil && x.State == run.Recording {
			m.report.Recording = append(m.report.Recording, x.ID)
			continue
		}
		if err == nil {
			err = x.check()
		}
		isNew := false
		if err == nil {
			isNew, err = m.isNew(ctx, x)
		}
		if err == nil && isNew {
			err = m.other.checkSeries(ctx, x)
		}
		var bad *badRun
		switch {
		case errors.As(err, &bad):
			m.report.Bad = append(m.report.Bad, store.BadRun{Run: m.other.nameOf(ctx, n), Why: firstLine(bad.Error())})
		case err != nil:
			return err
		case isNew:
			fresh = append(fresh, x)
		}
	}
	return m.take(ctx, fresh)
}

// isNew tells whether a run is new here, and reports it where it is not.
func (m *merger) isNew(ctx context.Context, there *foreignRun) (bool, error) {
	here, err := m.store.recordsWhere(ctx, "id = ?", there.ID)
	if err != nil || len(here) == 0 {
		return err == nil, err
	}
	if d := differences(&here[0], &there.Record); len(d) > 0 {
		m.report.Conflicts = append(m.report.Conflicts, store.Conflict{Run: there.ID, Differences: d})
	} else {
		m.report.Known++
	}
	return false, nil
}

// take stores runs with all that hangs on them, in slices.
func (m *merger) take(ctx context.Context, fresh []*foreignRun) error {
	for len(fresh) > 0 {
		var readings []*foreignSeries
		err := m.slice(ctx, func(tx *sql.Tx, full func() bool) error {
			w := newRunWriter(ctx, tx)
			for len(fresh) > 0 && !full() {
				n, err := m.takeRun(w, fresh[0])
				if err != nil {
					return fmt.Errorf("run %s: %w", fresh[0].ID, err)
				}
				if s := fresh[0].series; s != nil {
					if s.here, err = w.addSeries(s, n); err != nil {
						return fmt.Errorf("run %s: %w", fresh[0].ID, err)
					}
					readings = append(readings, s)
				}
				m.report.Added++
				fresh = fresh[1:]
			}
			return nil
		})
		if err != nil {
			return err
		}
		if err := m.takeReadings(ctx, readings); err != nil {
			return err
		}
	}
	return nil
}

// takeRun stores a run and its history, but not its readings.
func (m *merger) takeRun(w *runWriter, x *foreignRun) (n int64, err error) {
	i, err := newRunInserter(w, m.id)
	if err != nil {
		return 0, err
	}
	if err := errors.Join(i.put(&x.Record), i.flush()); err != nil {
		return 0, err
	}
	n = i.next - 1
	if _, err := w.exec(`UPDATE runs SET state_before = ? WHERE n = ?`, string(x.stateBefore), n); err != nil {
		return 0, err
	}
	for name, at := range x.setAt {
		if _, err := w.exec(`UPDATE results SET set_at = ? WHERE run = ? AND name = ?`, at, n, name); err != nil {
			return 0, err
		}
	}
	for _, h := range x.history.Results {
		if _, err := w.exec(`INSERT INTO result_history VALUES (?, ?, ?, ?, ?, ?, ?)`, n, h.Name, h.Result.Value, h.Result.Unit, string(h.Result.Better),
			stampText(h.SetAt.Time), stampText(h.ReplacedAt.Time)); err != nil {
			return 0, err
		}
	}
	for _, d := range x.history.Decisions {
		if _, err := w.exec(`INSERT INTO decisions VALUES (?, ?, ?, ?, ?)`, n, stampText(d.At.Time), string(d.What), d.Who, d.Why); err != nil {
			return 0, err
		}
	}
	return n, nil
}

// takeReadings copies rows of series, in slices. Those that are here already stay.
func (m *merger) takeReadings(ctx context.Context, list []*foreignSeries) error {
	for _, s := range list {
		rows := m.other.rowsOf(ctx, s)
		err := m.takeRows(ctx, s, rows)
		if err := errors.Join(err, rows.close()); err != nil {
			return err
		}
	}
	return nil
}

func (m *merger) takeRows(ctx context.Context, s *foreignSeries, rows *foreignRows) error {
	for more := true; more; {
		err := m.slice(ctx, func(tx *sql.Tx, full func() bool) error {
			w := newRunWriter(ctx, tx)
			for !full() {
				if more = rows.next(); !more {
					return rows.err
				}
				if rows.damaged {
					continue
				}
				r, err := w.exec(`INSERT OR IGNORE INTO readings VALUES (?, ?, ?, ?)`, s.here<<32|rows.id&0xffffffff, rows.atMs, rows.sweeps, rows.data)
				if err != nil {
					return err
				}
				n, err := r.RowsAffected()
				if err != nil {
					return err
				}
				m.report.Rows += int(n)
			}
			return nil
		})
		if err != nil {
			return err
		}
	}
	return nil
}

// idle merges the idle series, which a device and a start identify. They grow as one that
// is being recorded does.
func (m *merger) idle(ctx context.Context) error {
	ids, err := numbers(ctx, m.other.tx, `SELECT id FROM series WHERE run IS NULL ORDER BY id`)
	if err != nil {
		return err
	}
	var err2 error
	if m.intake, err2 = m.store.newIntake(ctx); err2 != nil {
		return err2
	}
	for _, id := range ids {
		if err := m.takeIdle(ctx, id); err != nil {
			return err
		}
	}
	return m.finish(ctx)
}

// takeIdle merges one idle series, unless it is damaged or goes on from another here.
func (m *merger) takeIdle(ctx context.Context, id int64) error {
	s, err := m.other.readSeries(ctx, id)
	var bad *badRun
	if errors.As(err, &bad) {
		return nil
	} else if err != nil {
		return err
	}
	fits := true
	err = m.slice(ctx, func(tx *sql.Tx, _ func() bool) error {
		w := newRunWriter(ctx, tx)
		err := tx.QueryRowContext(ctx, `SELECT id FROM series WHERE run IS NULL AND device = ? AND started_ms = ?`, s.device, s.startedMs).Scan(&s.here)
		if errors.Is(err, sql.ErrNoRows) {
			s.here, err = w.addSeries(s, nil)
			return err
		}
		if err == nil {
			fits, err = w.growSeries(s)
		}
		return err
	})
	if err != nil || !fits {
		return err
	}
	return m.takeReadings(ctx, []*foreignSeries{s})
}

// addSeries stores a series of a run, nil for an idle one.
func (w *runWriter) addSeries(s *foreignSeries, n any) (id int64, err error) {
	r, err := w.exec(`INSERT INTO series (device, run, started_ms, format) VALUES (?, ?, ?, ?)`, s.device, n, s.startedMs, packFormat)
	if err != nil {
		return 0, err
	}
	if id, err = r.LastInsertId(); err != nil {
		return 0, err
	}
	return id, w.describeSeries(id, s, 0, 0)
}

// growSeries stores the sensors and labels that a series here lacks. It refuses, with
// false, where they are not the same as far as both have them.
func (w *runWriter) growSeries(s *foreignSeries) (fits bool, err error) {
	sensors, err := seriesSensors(w.ctx, w.tx, s.here)
	if err != nil {
		return false, err
	}
	labels, err := seriesLabels(w.ctx, w.tx, s.here)
	if err != nil {
		return false, err
	}
	n, k := min(len(sensors), len(s.sensors)), min(len(labels), len(s.labels))
	if !slices.Equal(sensors[:n], s.sensors[:n]) || !slices.Equal(labels[:k], s.labels[:k]) {
		return false, nil
	}
	return true, w.describeSeries(s.here, s, n, k)
}

// describeSeries stores the sensors and labels of a series from these on.
func (w *runWriter) describeSeries(id int64, s *foreignSeries, sensor, label int) error {
	for i := sensor; i < len(s.sensors); i++ {
		known, err := sensorID(w.ctx, w.tx, s.sensors[i])
		if err != nil {
			return err
		}
		if _, err := w.exec(`INSERT INTO series_sensors VALUES (?, ?, ?)`, id, i, known); err != nil {
			return err
		}
	}
	for i := label; i < len(s.labels); i++ {
		l := s.labels[i]
		if _, err := w.exec(`INSERT INTO series_labels VALUES (?, ?, ?, ?, ?, ?)`,
			id, i, watts(l.setting.Setting), l.setting.Name(), string(l.setting.Source), string(l.supply)); err != nil {
			return err
		}
	}
	return nil
}
