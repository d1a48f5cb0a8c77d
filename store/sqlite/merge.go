package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"os"
	"slices"
	"strings"

	"sweepd/run"
	"sweepd/store"
)

// ErrSameFile is returned by Merge where both files are one.
var ErrSameFile = errors.New("is the same file")

// mergeRuns is how many runs one transaction takes; an agent that records into
// the same file waits meanwhile.
const mergeRuns = 20

// Merge takes over the runs of another data file, see store.Importer.
func (s *Store) Merge(ctx context.Context, path string, progress func(done, total int)) (store.MergeReport, error) {
	m := merger{store: s, progress: progress, report: store.MergeReport{Recording: []string{}, Conflicts: []store.Conflict{}}}
	err := m.open(ctx, path)
	if err == nil {
		err = m.run(ctx)
	}
	return m.report, explain("merging", path, errors.Join(err, m.close()))
}

// merger works on a connection of its own that has the other file attached.
type merger struct {
	store, other *Store
	db           *sql.DB
	progress     func(done, total int)
	report       store.MergeReport
}

func (m *merger) open(ctx context.Context, path string) (err error) {
	if m.store.write == nil {
		return errReadOnly
	}
	if m.other, err = Open(path, Options{ReadOnly: true}); err != nil {
		return err
	}
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
	if m.db, err = openPool(dsn(m.store.path, writerOptions), writerPragmas, m.store.place.check); err != nil {
		return err
	}
	m.db.SetMaxOpenConns(1)
	_, err = m.db.ExecContext(ctx, "ATTACH ? AS other", m.other.dsn())
	return err
}

func (m *merger) close() error {
	var errs []error
	if m.db != nil {
		errs = append(errs, m.db.Close())
	}
	if m.other != nil {
		errs = append(errs, m.other.Close())
	}
	return errors.Join(errs...)
}

func (m *merger) run(ctx context.Context) error {
	var last, total, done int
	if err := m.other.read.QueryRowContext(ctx, `SELECT coalesce(max(n), 0), count(*) FROM runs`).Scan(&last, &total); err != nil {
		return err
	}
	for from := 1; from <= last; from += mergeRuns {
		to := min(from+mergeRuns-1, last)
		n, err := m.runs(ctx, from, to)
		if err != nil {
			return err
		}
		if done += n; m.progress != nil {
			m.progress(done, total)
		}
	}
	return m.idle(ctx)
}

// runs merges the other file's runs of these numbers and says how many it has.
func (m *merger) runs(ctx context.Context, from, to int) (int, error) {
	theirs, err := m.other.recordsWhere(ctx, "n BETWEEN ? AND ?", from, to)
	if err != nil || len(theirs) == 0 {
		return 0, err
	}
	var fresh []string
	for i := range theirs {
		isNew, err := m.compare(ctx, &theirs[i])
		if err != nil {
			return 0, err
		}
		if isNew {
			fresh = append(fresh, theirs[i].ID)
		}
	}
	if len(fresh) == 0 {
		return len(theirs), nil
	}
	err = inTx(ctx, m.db, func(tx *sql.Tx) error { return m.take(ctx, tx, fresh) })
	return len(theirs), err
}

// compare tells whether a run is new here, and reports it where it is not.
func (m *merger) compare(ctx context.Context, there *run.Record) (isNew bool, err error) {
	if there.State == run.Recording {
		m.report.Recording = append(m.report.Recording, there.ID)
		return false, nil
	}
	here, err := m.store.recordsWhere(ctx, "id = ?", there.ID)
	if err != nil {
		return false, err
	}
	if len(here) == 0 {
		return true, nil
	}
	if d := differences(&here[0], there); len(d) > 0 {
		m.report.Conflicts = append(m.report.Conflicts, store.Conflict{Run: there.ID, Differences: d})
	} else {
		m.report.Known++
	}
	return false, nil
}

// take copies runs with all that hangs on them.
func (m *merger) take(ctx context.Context, tx *sql.Tx, ids []string) error {
	list := make([]any, len(ids))
	for i, id := range ids {
		list[i] = id
	}
	fresh := "(" + strings.Repeat("?, ", len(ids)-1) + "?)"
	for i, step := range takeRuns {
		r, err := tx.ExecContext(ctx, strings.ReplaceAll(step, "FRESH", fresh), list...)
		if err != nil {
			return fmt.Errorf("step %d: %w", i, err)
		}
		if n, err := r.RowsAffected(); err != nil {
			return err
		} else if strings.Contains(step, "INTO readings") {
			m.report.Rows += int(n)
		}
	}
	m.report.Added += len(ids)
	all := strings.ReplaceAll("id IN FRESH", "FRESH", fresh)
	if err := sealRuns(ctx, tx, selection{where: all, args: list, named: true}); err != nil {
		return err
	}
	return sealTaken(ctx, tx, `SELECT id FROM main.series WHERE run IN (SELECT n FROM main.runs WHERE `+all+`)`, list...)
}

// sealTaken seals series that a query selects, and closes them.
func sealTaken(ctx context.Context, tx *sql.Tx, query string, args ...any) error {
	ids, err := numbers(ctx, tx, query, args...)
	for _, id := range ids {
		if err := sealSeries(ctx, tx, id); err != nil {
			return err
		}
	}
	if err != nil {
		return err
	}
	return closeSeries(ctx, tx, query, args...)
}

const moveRun = `JOIN other.runs o ON o.n = x.run JOIN main.runs h ON h.id = o.id WHERE o.id IN FRESH`

// takeRuns copies, in order, what the runs FRESH of the other file need.
var takeRuns = slices.Concat([]string{
	`INSERT OR IGNORE INTO fact_sets (digest) SELECT digest FROM other.fact_sets
		WHERE id IN (SELECT fact_set FROM other.runs WHERE id IN FRESH)`,
	`INSERT OR IGNORE INTO facts SELECT h.id, name, value FROM other.facts x JOIN other.fact_sets o ON o.id = x.fact_set
		JOIN main.fact_sets h USING (digest) WHERE o.id IN (SELECT fact_set FROM other.runs WHERE id IN FRESH)`,
	`INSERT INTO runs (` + copiedRunColumns + `, fact_set)
		SELECT ` + copiedRunColumns + `, (SELECT h.id FROM other.fact_sets o JOIN main.fact_sets h USING (digest) WHERE o.id = x.fact_set)
		FROM other.runs x WHERE id IN FRESH ORDER BY n`,
	`INSERT INTO results SELECT h.n, name, value, unit, better, set_at FROM other.results x ` + moveRun,
	`INSERT INTO result_history SELECT h.n, name, value, unit, better, set_at, replaced_at FROM other.result_history x ` + moveRun + ` ORDER BY x.rowid`,
	`INSERT INTO decisions SELECT h.n, at, what, who, x.why FROM other.decisions x ` + moveRun + ` ORDER BY x.rowid`,
	`INSERT INTO findings SELECT h.n, position, code, severity, text, at FROM other.findings x ` + moveRun,
	`INSERT OR IGNORE INTO sensors (sensor, instance, unit, kind, source, resolution)
		SELECT sensor, instance, unit, kind, source, resolution FROM other.sensors WHERE id IN
			(SELECT sensor FROM other.summaries x ` + moveRun + `)`,
	`INSERT INTO summaries SELECT h.n, position, hs.id, mean, min, max, p95, first, last, energy_j, steady_mean
		FROM other.summaries x ` + moveSensor + moveRun,
	`INSERT INTO series (device, run, started_ms, format)
		SELECT x.device, h.n, started_ms, format FROM other.series x ` + moveRun + ` ORDER BY x.id`,
}, takeReadings(`h.run = (SELECT m.n FROM main.runs m JOIN other.runs o USING (id) WHERE o.n = x.run) WHERE x.run IN (SELECT n FROM other.runs WHERE id IN FRESH)`))

const copiedRunColumns = `id, device, workload, variant, supply, setting_w, setting, setting_source,
	setting_read_w, setting_read, setting_read_source, state, state_before, why, note, started_at, duration_s, package_w, system_w,
	discharge_w, discharge_uncertainty_w, discharge_from_power_w, discharge_from_energy_w, warmup_s, start_temperature_c, start_charge_ratio`

const moveSensor = `JOIN other.sensors os ON os.id = x.sensor JOIN main.sensors hs
	ON hs.sensor = os.sensor AND hs.instance = os.instance AND hs.unit = os.unit AND hs.kind = os.kind AND hs.source = os.source AND hs.resolution = os.resolution `

// takeReadings copies what series x of the other file have and their
// counterparts h here lack. pair says which belong together.
func takeReadings(pair string) []string {
	pairs := `(SELECT x.id AS there, h.id AS here FROM other.series x JOIN main.series h ON ` + pair + `)`
	return []string{
		`INSERT OR IGNORE INTO sensors (sensor, instance, unit, kind, source, resolution)
			SELECT s.sensor, instance, unit, kind, source, resolution FROM other.series_sensors x JOIN ` + pairs + ` p ON p.there = x.series
			JOIN other.sensors s ON s.id = x.sensor`,
		`INSERT OR IGNORE INTO series_sensors SELECT p.here, position, hs.id
			FROM ` + pairs + ` p JOIN other.series_sensors x ON x.series = p.there ` + moveSensor + `WHERE true`,
		`INSERT OR IGNORE INTO series_labels SELECT p.here, position, setting_w, setting, setting_source, supply
			FROM ` + pairs + ` p JOIN other.series_labels x ON x.series = p.there`,
		`INSERT OR IGNORE INTO readings SELECT p.here << 32 | (r.id & 0xffffffff), at_ms, sweeps, data
			FROM ` + pairs + ` p JOIN other.readings r ON r.id BETWEEN p.there << 32 AND p.there << 32 | 0xffffffff ORDER BY 1`,
	}
}

// idle merges the idle series, which a device and a start identify.
func (m *merger) idle(ctx context.Context) error {
	var series []int64
	err := each(ctx, m.other.read, func(rows *sql.Rows) error {
		var id int64
		err := rows.Scan(&id)
		series = append(series, id)
		return err
	}, `SELECT id FROM series WHERE run IS NULL ORDER BY id`)
	if err != nil {
		return err
	}
	for _, id := range series {
		if err := inTx(ctx, m.db, func(tx *sql.Tx) error { return m.takeIdle(ctx, tx, id) }); err != nil {
			return err
		}
	}
	return nil
}

const sameIdle = `h.run IS NULL AND h.device = x.device AND h.started_ms = x.started_ms`

func (m *merger) takeIdle(ctx context.Context, tx *sql.Tx, id int64) error {
	if _, err := tx.ExecContext(ctx, `INSERT INTO series (device, started_ms, format)
		SELECT device, started_ms, format FROM other.series x WHERE id = ?
		AND NOT EXISTS (SELECT 1 FROM main.series h WHERE `+sameIdle+`)`, id); err != nil {
		return err
	}
	for _, step := range takeReadings(sameIdle + ` WHERE x.run IS NULL AND x.id = ?`) {
		r, err := tx.ExecContext(ctx, step, id)
		if err != nil {
			return err
		}
		if n, err := r.RowsAffected(); err != nil {
			return err
		} else if strings.Contains(step, "INTO readings") {
			m.report.Rows += int(n)
		}
	}
	return sealTaken(ctx, tx, `SELECT h.id FROM main.series h JOIN other.series x ON `+sameIdle+` WHERE x.id = ?`, id)
}
