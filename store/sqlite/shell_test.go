package sqlite

import (
	"database/sql"
	"os/exec"
	"strings"
	"testing"

	"sweepd/run"
)

// The sqlite3 shell, which shares no code with the driver, finds the file sound
// and shows it as the schema's comments say.
func TestShell(t *testing.T) {
	shell, err := exec.LookPath("sqlite3")
	if err != nil {
		t.Skip("no sqlite3 shell here")
	}
	s := openTest(t)
	d := finished("run-0001", 0)
	d.Setting, d.Note = declaredWatts(12.5), "first"
	d.Results["load"] = run.Result{Value: 3.5, Unit: "s", Better: run.Lower}
	d.Findings = []run.Finding{{Code: run.HotStart, Severity: run.SeverityDoubt, Text: "62 C"}}
	d.Summaries = []run.Summary{{Sensor: run.PackagePower, Unit: "watts", Mean: new(9.5)}}
	imported(t, s, d, finished("run-0002", 1))
	must(t, s.BeginRun(t.Context(), newRun("run-0003")))
	must(t, s.Append(t.Context(), run.Batch{Device: "unit-oak", RunID: "run-0003", Sensors: []run.Sensor{{ID: "x"}}, Sweeps: []run.Sweep{quarter(0, 1)}}))

	for query, want := range map[string]string{
		"PRAGMA integrity_check": "ok",
		"SELECT id, setting, state, started_at, duration_s, results, findings, note FROM run_table WHERE id < 'run-0003'": "run-0001|12.5W|finished|2026-05-01T12:00:00.000Z|60.0|load=3.5s score=100.0points|hot_start|first\n" +
			"run-0002|25W|finished|2026-05-01T12:01:00.000Z|60.0|score=101.0points||",
		"SELECT id, name, value, better FROM result_table LIMIT 1": "run-0001|load|3.5|lower",
		"SELECT id, severity, code, text FROM finding_table":       "run-0001|doubt|hot_start|62 C",
		"SELECT id, sensor, unit, mean, max FROM summary_table":    "run-0001|package_power_watts|watts|9.5|",
		"SELECT id, name, value FROM fact_table LIMIT 1":           "run-0001|kernel|6.1",
		"SELECT run, position, at, sweeps FROM reading_rows":       "run-0003|0|2026-05-01T13:00:00.000Z|1",
	} {
		out, err := exec.Command(shell, s.Path(), query).CombinedOutput()
		if got := strings.TrimSpace(string(out)); err != nil || got != want {
			t.Errorf("%s\ngave %s, %v\nwant %s", query, got, err, want)
		}
	}
}

// What must outlive a power cut is committed with synchronous FULL (2), the
// rest with NORMAL (1), and simulated data with OFF (0).
func TestSynchronous(t *testing.T) {
	unsynced, err := Open(t.TempDir(), Options{Unsynced: true})
	must(t, err)
	defer unsynced.Close()
	for _, c := range []struct {
		store *Store
		flush bool
		want  int
	}{{openTest(t), true, 2}, {openTest(t), false, 1}, {unsynced, true, 0}, {unsynced, false, 0}} {
		must(t, c.store.commit(t.Context(), c.flush, func(tx *sql.Tx) error {
			var level int
			if err := tx.QueryRow("PRAGMA synchronous").Scan(&level); err != nil {
				return err
			}
			if level != c.want {
				t.Errorf("flush %v commits with synchronous %d, want %d", c.flush, level, c.want)
			}
			return nil
		}))
	}
}
