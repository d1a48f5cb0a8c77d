package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"maps"
	"os"
	"slices"
	"strings"

	"sweepd/run"
	"sweepd/store"
)

// ErrSameFile is returned by Merge where both files are one.
var ErrSameFile = errors.New("is the same file")

// mergeRuns is how many runs are read together, mergeParts how many rows of runs and
// what hangs on them wait to be stored together.
const (
	mergeRuns  = 20
	mergeParts = 5000
)

// Merge takes over the runs of another data file, see store.Importer.
func (s *Store) Merge(ctx context.Context, path string, progress func(done, total int), same ...string) (store.MergeReport, error) {
	none := store.MergeReport{Corrected: []string{}, Overruled: []store.Conflict{}, Recording: []string{}, Conflicts: []store.Conflict{}, Bad: []store.BadRun{}}
	if s.write == nil {
		return none, explain("merging", path, errReadOnly)
	}
	other, err := openForeign(ctx, path)
	if err != nil {
		return none, explain("merging", path, store.Stopped(ctx, err))
	}
	m := merger{store: s, other: other, progress: progress, same: same, report: none}
	if err = errors.Join(m.merge(ctx), other.close()); err != nil {
		return none, explain("merging", path, store.Stopped(ctx, err))
	}
	return m.report, nil
}

type merger struct {
	*intake
	store    *Store
	other    *foreign
	progress func(done, total int)
	same     []string // devices that are one machine whatever their facts say
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
	if err := m.checkMachines(ctx); err != nil {
		return err
	}
	restore, err := m.store.setForIntake(ctx)
	if err != nil {
		return err
	}
	defer restore()
	if m.intake, err = m.store.newIntake(ctx); err != nil {
		return err
	}
	if err = m.runs(ctx); err == nil {
		err = m.idle(ctx)
	}
	if err == nil {
		m.report.Import = m.id
		err = m.finish(ctx, m.other.path)
	}
	if err != nil {
		if e := m.undo(context.WithoutCancel(ctx)); e != nil && !errors.Is(e, errTaken) {
			err = errors.Join(err, fmt.Errorf("taking out again what was stored (the next merge does it): %w", e))
		}
	}
	return err
}

// checkMachines tells whether a device of the other file is another machine than the one
// that has its name here.
func (m *merger) checkMachines(ctx context.Context) error {
	var here map[string]run.Machines
	err := inTx(ctx, m.store.read, func(tx *sql.Tx) (err error) {
		here, err = machinesOf(ctx, tx, m.store.kept())
		return err
	})
	if err != nil {
		return err
	}
	there, err := machinesOf(ctx, m.other.tx, m.other.kept())
	if err != nil {
		return err
	}
	for _, device := range slices.Sorted(maps.Keys(there)) {
		if slices.Contains(m.same, device) {
			continue
		}
		for _, x := range there[device] {
			if why := here[device].Other(x); why != "" {
				return &store.OtherMachineError{Device: run.Shorten(device), Why: why}
			}
		}
	}
	return nil
}

func (m *merger) runs(ctx context.Context) error {
	var total, done int
	if err := m.other.tx.QueryRowContext(ctx, `SELECT count(*) FROM runs WHERE `+m.other.kept()).Scan(&total); err != nil {
		return err
	}
	var fresh []*foreignRun
	parts := 0 // of fresh
	for last := int64(0); ; {
		some, err := numbers(ctx, m.other.tx, `SELECT n FROM runs WHERE n > ? AND `+m.other.kept()+` ORDER BY n LIMIT ?`, last, mergeRuns)
		if err != nil {
			return err
		}
		more, err := m.some(ctx, some)
		if err != nil {
			return err
		}
		fresh = append(fresh, more...)
		for _, x := range more {
			parts += 1 + len(x.Results) + len(x.Summaries) + len(x.Facts) + len(x.Findings)
		}
		if len(some) == 0 || parts > mergeParts {
			if err := m.take(ctx, fresh); err != nil {
				return err
			}
			fresh, parts = nil, 0
		}
		if len(some) == 0 {
			return nil
		}
		last = some[len(some)-1]
		if done += len(some); m.progress != nil {
			m.progress(done, total)
		}
	}
}

// some reads the other file's runs of these numbers and gives those to be taken over.
func (m *merger) some(ctx context.Context, some []int64) (fresh []*foreignRun, err error) {
	runs, errs := m.other.readRuns(ctx, some)
	here, err := m.here(ctx, runs)
	if err != nil {
		return nil, err
	}
	for i, x := range runs {
		isNew, err := false, errs[i]
		if err == nil {
			isNew, err = m.look(ctx, x, here[x.ID])
		}
		var bad *badRun
		switch {
		case errors.As(err, &bad):
			m.report.Bad = append(m.report.Bad, store.BadRun{Run: m.other.nameOf(ctx, some[i]), Why: firstLine(bad.Error())})
		case err != nil:
			return nil, err
		case isNew:
			fresh = append(fresh, x)
		}
	}
	return fresh, nil
}

// here are the runs of the same ids that are here, by their ids.
func (m *merger) here(ctx context.Context, runs []*foreignRun) (map[string]*known, error) {
	var ids []any
	for _, x := range runs {
		if x != nil {
			ids = append(ids, x.ID)
		}
	}
	found := map[string]*known{}
	if len(ids) == 0 {
		return found, nil
	}
	r, err := m.store.readRuns(ctx, selection{where: "id IN (?" + strings.Repeat(", ?", len(ids)-1) + ")", args: ids, named: true}.and(m.store.kept()), whole)
	for i, d := range r.records() {
		found[d.ID] = &known{d, r.others[i].history}
	}
	return found, err
}

// look tells whether a run is to be taken over, and reports it where it is here already,
// not nil. One that is here just the same need not meet the rules again.
func (m *merger) look(ctx context.Context, x *foreignRun, here *known) (bool, error) {
	if err := run.CheckID(x.ID); err != nil {
		return false, bad("it %w", err)
	}
	if x.State == run.Recording {
		m.report.Recording = append(m.report.Recording, x.ID)
		return false, nil
	}
	var both combination
	if here != nil {
		if both = combine(here, x); len(both.different)+len(both.taken) == 0 {
			m.report.Known++
			return false, nil
		}
	}
	if err := x.check(); err != nil {
		return false, err
	}
	switch {
	case here == nil:
	case len(both.different) > 0:
		m.report.Conflicts = append(m.report.Conflicts, store.Conflict{Run: x.ID, Differences: both.different})
		return false, nil
	default:
		m.takeCorrections(x)
		m.report.Corrected = append(m.report.Corrected, x.ID)
		if len(both.overruled) > 0 {
			m.report.Overruled = append(m.report.Overruled, store.Conflict{Run: x.ID, Differences: both.overruled})
		}
		if both.judgedBy == byNobody {
			m.report.Unjudged = append(m.report.Unjudged, x.ID)
		}
		return false, nil
	}
	if m.comesBack(x.ID) {
		m.report.Added++
		return false, nil
	}
	if x.series == nil {
		return true, nil
	}
	return true, m.other.checkReadings(ctx, x.series)
}

// take stores runs with all that hangs on them, in slices.
func (m *merger) take(ctx context.Context, fresh []*foreignRun) error {
	for len(fresh) > 0 {
		var readings []*foreignSeries
		err := m.slice(ctx, func(tx *sql.Tx, full func() bool) error {
			i, err := newRunInserter(newRunWriter(context.WithoutCancel(ctx), tx), m.id)
			if err != nil {
				return err
			}
			first := i.next
			for len(fresh) > 0 && !full() {
				if err := m.takeRun(i, fresh[0]); err != nil {
					return fmt.Errorf("run %s: %w", fresh[0].ID, err)
				}
				if s := fresh[0].series; s != nil {
					readings = append(readings, s)
				}
				m.report.Added++
				fresh = fresh[1:]
			}
			return sealRuns(ctx, tx, selection{where: "n >= ?", args: []any{first}, named: true})
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

// takeRun stores a run and its history, but of its readings only what they are of. It is
// not sealed yet.
func (m *merger) takeRun(i *runInserter, x *foreignRun) error {
	w := i.runWriter
	if err := errors.Join(i.put(&x.Record), i.flush()); err != nil {
		return err
	}
	n := i.next - 1
	if x.State == run.Rejected {
		if _, err := w.exec(`UPDATE runs SET state_before = ? WHERE n = ?`, string(x.stateBefore), n); err != nil {
			return err
		}
	}
	for name, at := range x.setAt {
		if _, err := w.exec(`UPDATE results SET set_at = ? WHERE run = ? AND name = ?`, at, n, name); err != nil {
			return err
		}
	}
	for _, h := range x.history.Results {
		if _, err := w.exec(`INSERT INTO result_history VALUES (?, ?, ?, ?, ?, ?, ?)`, n, h.Name, h.Result.Value, h.Result.Unit, string(h.Result.Better),
			stampText(h.SetAt.Time), stampText(h.ReplacedAt.Time)); err != nil {
			return err
		}
	}
	for _, c := range x.history.Corrections {
		if err := w.keepCorrection(n, c); err != nil {
			return err
		}
	}
	for _, d := range x.history.Decisions {
		if err := w.decide(n, d.At.Time, d.What, d.Who, d.Why); err != nil {
			return err
		}
	}
	if x.series == nil {
		return nil
	}
	return x.series.describe(w.ctx, w.tx)
}

// describe stores what the series is of, or what a series here that has this start and
// device lacks of it; 0 is its id here where the two are of something else.
func (s *foreignSeries) describe(ctx context.Context, tx *sql.Tx) error {
	w := seriesWriter{storedSeries: s.storedSeries}
	w.id, w.rows, w.format, s.here = 0, sql.NullInt64{}, packFormat, 0
	if s.runID == "" {
		err := tx.QueryRowContext(ctx, `SELECT id FROM series WHERE run IS NULL AND device = ? AND started_ms = ?`, s.device, s.startedMs).Scan(&w.id)
		if err != nil && !errors.Is(err, sql.ErrNoRows) {
			return err
		}
	}
	if w.id != 0 {
		here, err := readSeries(ctx, tx, w.id, Version)
		if err != nil {
			return err
		}
		n, k := min(len(here.sensors), len(s.sensors)), min(len(here.labels), len(s.labels))
		if here.damaged || !slices.Equal(here.sensors[:n], s.sensors[:n]) || !slices.Equal(here.labels[:k], s.labels[:k]) {
			return nil
		}
		w.stored.sensors, w.stored.labels = len(here.sensors), len(here.labels)
		w.sensors, w.labels = append(here.sensors, s.sensors[n:]...), append(here.labels, s.labels[k:]...)
	}
	err := w.describe(ctx, tx)
	s.here = w.id
	return err
}

// takeReadings copies rows of series, in slices. Those that are here already stay.
func (m *merger) takeReadings(ctx context.Context, list []*foreignSeries) error {
	var rows *foreignRows // of the first in the list
	for len(list) > 0 {
		err := m.slice(ctx, func(tx *sql.Tx, full func() bool) error {
			w := newRunWriter(context.WithoutCancel(ctx), tx)
			for len(list) > 0 && !full() {
				if rows == nil {
					rows = m.other.rowsOf(ctx, list[0])
				}
				if whole, err := m.takeRows(w, list[0], rows, full); err != nil || !whole {
					return err
				}
				err := errors.Join(rows.close(), closeSeries(ctx, tx, `SELECT ?`, list[0].here))
				if rows, list = nil, list[1:]; err != nil {
					return err
				}
			}
			return nil
		})
		if err != nil {
			if rows != nil {
				err = errors.Join(err, rows.close())
			}
			return err
		}
	}
	return nil
}

// takeRows copies rows until the slice is full, and says whether all are copied.
func (m *merger) takeRows(w *runWriter, s *foreignSeries, rows *foreignRows, full func() bool) (whole bool, err error) {
	for rows.next() {
		if err := m.takeRow(w, s, rows); err != nil || full() {
			return false, err
		}
	}
	return true, rows.err
}

func (m *merger) takeRow(w *runWriter, s *foreignSeries, rows *foreignRows) error {
	if rows.damaged {
		return nil
	}
	r, err := w.exec(`INSERT OR IGNORE INTO readings VALUES (?, ?, ?, ?)`, s.here<<32|rows.id&0xffffffff, rows.atMs, rows.sweeps, []byte(rows.row.data))
	if err != nil {
		return err
	}
	n, err := r.RowsAffected()
	m.report.Rows += int(n)
	return err
}

// idle merges the idle series, which a device and a start identify. They grow as one that
// is being recorded does; what is damaged is left out, as where it is read.
func (m *merger) idle(ctx context.Context) error {
	ids, err := numbers(ctx, m.other.tx, `SELECT id FROM series WHERE run IS NULL ORDER BY id`)
	if err != nil {
		return err
	}
	for some := range slices.Chunk(ids, idleTogether) {
		var list []*foreignSeries
		for _, id := range some {
			s, err := m.other.readSeries(ctx, id)
			var bad *badRun
			if err == nil {
				list = append(list, s)
			} else if !errors.As(err, &bad) {
				return err
			}
		}
		for left := list; len(left) > 0; {
			err := m.slice(ctx, func(tx *sql.Tx, full func() bool) error {
				for len(left) > 0 && !full() {
					if err := left[0].describe(ctx, tx); err != nil {
						return err
					}
					left = left[1:]
				}
				return nil
			})
			if err != nil {
				return err
			}
		}
		list = slices.DeleteFunc(list, func(s *foreignSeries) bool { return s.here == 0 })
		if err := m.takeReadings(ctx, list); err != nil {
			return err
		}
	}
	return nil
}

// idleTogether is how many idle series are merged together.
const idleTogether = 200
