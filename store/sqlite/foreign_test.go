package sqlite

import (
	"encoding/binary"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"sweepd/run"
	"sweepd/store"
)

// oldFile is a copy of the data file of version 1 in testdata, which has no checksums
// that would tell of a change: runs unit-oak-run-000 (n 1) and unit-oak-run-001.
func oldFile(t *testing.T, queries ...string) string {
	t.Helper()
	return fileOf(t, "testdata/version1.db", queries...)
}

func fileOf(t *testing.T, from string, queries ...string) string {
	t.Helper()
	data, err := os.ReadFile(from)
	must(t, err)
	path := filepath.Join(t.TempDir(), FileName)
	must(t, os.WriteFile(path, data, 0o644))
	for _, q := range queries {
		execOn(t, path, "PRAGMA ignore_check_constraints = ON; "+q)
	}
	return path
}

// A run that breaks the rules of import, or that is damaged, is left out by name; the
// other one comes in.
func TestMergeLeavesBadRunsOut(t *testing.T) {
	for _, c := range []struct{ query, why string }{
		{`UPDATE results SET value = 9e999 WHERE run = 1`, "results"},
		{`UPDATE runs SET duration_s = -9e999 WHERE n = 1`, "labels and watts"},
		{`UPDATE summaries SET mean = 9e999 WHERE run = 1`, "summaries"},
		{`UPDATE runs SET setting_w = -5 WHERE n = 1`, "watts must be above 0"},
		{`UPDATE runs SET setting_w = 1e6 WHERE n = 1`, "watts must be above 0"},
		{`UPDATE runs SET duration_s = -1 WHERE n = 1`, "duration is -1"},
		{`UPDATE runs SET package_w = -1 WHERE n = 1`, "package power is -1"},
		{`UPDATE runs SET workload = printf('%.*c', 10000000, 'x') WHERE n = 1`, "more than 1048576 bytes"},
		{`UPDATE runs SET workload = printf('%.*c', 500000, 'x') WHERE n = 1`, "labels and watts"},
		{`UPDATE runs SET workload = printf('%.*c', 201, 'x') WHERE n = 1`, "at most 200"},
		{`UPDATE runs SET workload = '' WHERE n = 1`, "workload is empty"},
		{`UPDATE runs SET device = 'a' || char(27) || '[31m' WHERE n = 1`, "control characters"},
		{`UPDATE runs SET note = 'a' || char(0) WHERE n = 1`, "control characters"},
		{`UPDATE runs SET why = CAST(x'ff' AS TEXT) WHERE n = 1`, "not UTF-8"},
		{`UPDATE runs SET variant = 'b=1,a=2' WHERE n = 1`, "not in order"},
		{`UPDATE runs SET variant = 'cores' WHERE n = 1`, "cores"},
		{`UPDATE runs SET id = 'last' WHERE n = 1`, "recorded last"},
		{`UPDATE runs SET id = printf('%.*c', 65, 'x') WHERE n = 1`, "no run id"},
		{`UPDATE runs SET id = 'a b' WHERE n = 1`, "no run id"},
		{`UPDATE runs SET state = 'odd' WHERE n = 1`, "no state"},
		{`UPDATE runs SET state_before = 'odd' WHERE n = 1`, "no state before"},
		{`UPDATE runs SET supply = 'sun' WHERE n = 1`, "neither mains nor battery"},
		{`UPDATE runs SET started_at = 'yesterday' WHERE n = 1`, "not RFC 3339"},
		{`UPDATE runs SET setting_read_w = 1e9, setting_read = '' WHERE n = 1`, "watts must be above 0"},
		{`UPDATE results SET better = 'sideways' WHERE run = 1`, "want higher or lower"},
		{`UPDATE results SET name = 'a=b' WHERE run = 1`, "may not hold"},
		{`UPDATE results SET set_at = 'x' WHERE run = 1`, "not RFC 3339"},
		{`WITH RECURSIVE i(n) AS (VALUES (1) UNION ALL SELECT n + 1 FROM i WHERE n < 2000) INSERT INTO results SELECT 1, 'r' || n, 1, '', 'higher', NULL FROM i`, "more than 1000 rows of results"},
		{`INSERT INTO findings VALUES (1, 9, 'x', 'dire', 'x', NULL)`, "no severity"},
		{`INSERT INTO findings VALUES (1, 9, '', 'note', 'x', NULL)`, "code of a finding is empty"},
		{`INSERT INTO findings VALUES (1, 9, 'x', 'note', printf('%.*c', 20000, 'x'), NULL)`, "finding has 20000 bytes"},
		{`INSERT INTO result_history VALUES (1, 'score', 9e999, '', 'higher', NULL, NULL)`, "history"},
		{`INSERT INTO result_history VALUES (1, 'score', 1, '', 'up', NULL, NULL)`, "history"},
		{`INSERT INTO decisions VALUES (1, NULL, 'forget', 'user', '')`, "no decision"},
		{`UPDATE readings SET data = zeroblob(20000000) WHERE id = (SELECT id << 32 FROM series WHERE run = 1)`, "more than 1048576 bytes"},
		{`UPDATE readings SET data = x'05ffffffffffffff7f' WHERE id = (SELECT id << 32 FROM series WHERE run = 1)`, "row 0 of its readings"},
		{`UPDATE readings SET sweeps = 1000000000000 WHERE id = (SELECT id << 32 | 3 FROM series WHERE run = 1)`, "row 3 of its readings"},
		{`UPDATE readings SET at_ms = 9000000000000000000 WHERE id = (SELECT id << 32 | 3 FROM series WHERE run = 1)`, "row 3 of its readings"},
		{`UPDATE series SET started_ms = 9000000000000000000 WHERE run = 1`, "start at"},
		{`UPDATE series SET device = char(10) WHERE run = 1`, "its readings: device"},
		{`UPDATE series SET format = 7 WHERE run = 1`, "what its readings are of"},
		{`DELETE FROM series_sensors WHERE position = 0 AND series = (SELECT id FROM series WHERE run = 1)`, "1 sensors up to 2"},
		{`INSERT INTO series_sensors SELECT id, 1000000000, 1 FROM series WHERE run = 1`, "3 sensors up to 1000000001"},
		{`UPDATE series_labels SET setting_w = -1 WHERE series = (SELECT id FROM series WHERE run = 1)`, "its readings: setting of -1"},
		{`DELETE FROM series_labels WHERE series = (SELECT id FROM series WHERE run = 1)`, "row 0 of its readings"},
	} {
		here := openTest(t)
		report, err := here.Merge(t.Context(), oldFile(t, c.query), nil)
		if err != nil || report.Added != 1 || len(report.Bad) != 1 || !strings.Contains(report.Bad[0].Why, c.why) {
			t.Errorf("%s:\n%+v, %v, want %q", c.query, report, err, c.why)
			continue
		}
		if name := report.Bad[0].Run; name != "unit-oak-run-000" && !strings.HasPrefix(name, "number 1 of") {
			t.Errorf("%s: called %q", c.query, name)
		}
		if runs, err := here.Runs(t.Context(), store.Filter{}); err != nil || len(runs) != 1 || runs[0].ID != "unit-oak-run-001" {
			t.Errorf("%s: %+v, %v", c.query, runs, err)
		}
	}
}

// A damaged run of a file with checksums is left out, too.
func TestMergeHoldsChecksums(t *testing.T) {
	for _, query := range []string{
		`UPDATE results SET value = value + 1 WHERE run = 1`,
		`UPDATE runs SET workload = 'other' WHERE n = 1`,
		`UPDATE readings SET data = CAST(data || x'00' AS BLOB) WHERE id = (SELECT id << 32 | 3 FROM series WHERE run = 1)`,
		`DELETE FROM readings WHERE id = (SELECT max(r.id) FROM readings r JOIN series s ON s.id = r.id >> 32 WHERE run = 1)`,
		`UPDATE series_labels SET supply = 'battery' WHERE series = (SELECT id FROM series WHERE run = 1)`,
	} {
		here := openTest(t)
		report, err := here.Merge(t.Context(), fileOf(t, "testdata/version2.db", query), nil)
		if err != nil || report.Added != 1 || len(report.Bad) != 1 || report.Bad[0].Run != "unit-oak-run-000" || !strings.Contains(report.Bad[0].Why, "damaged") {
			t.Errorf("%s: %+v, %v", query, report, err)
		}
	}
}

// A number that is far from the others takes no longer.
func TestMergeOfSparseNumbers(t *testing.T) {
	here := openTest(t)
	report, err := here.Merge(t.Context(), oldFile(t, `UPDATE runs SET n = 1000000000000 WHERE n = 2`), nil)
	if must(t, err); report.Added != 2 {
		t.Errorf("%+v", report)
	}
	for _, n := range []string{"1000000000000", "9223372036854775807", "-9223372036854775808"} {
		s := openAt(t, oldFile(t, `UPDATE runs SET n = `+n+` WHERE n = 2; UPDATE runs SET fact_set = NULL`,
			`DELETE FROM results WHERE run = 2; DELETE FROM findings WHERE run = 2; DELETE FROM summaries WHERE run = 2; UPDATE series SET run = NULL WHERE run = 2`))
		if check, err := s.Check(t.Context()); err != nil || len(check.Runs) != 2 || check.DamagedRuns() != 0 {
			t.Errorf("number %s: %+v, %v", n, check, err)
		}
	}
}

// Files of the older version and with other pages are merged whole, and their runs are as
// they were.
func TestMergeOldFiles(t *testing.T) {
	for _, path := range []string{oldFile(t), oldFile(t, `PRAGMA journal_mode = DELETE; PRAGMA page_size = 65536; VACUUM`), oldFile(t, `PRAGMA journal_mode = DELETE; PRAGMA page_size = 512; VACUUM`)} {
		here := openTest(t)
		report, err := here.Merge(t.Context(), path, nil)
		if must(t, err); report.Added != 2 || len(report.Bad) != 0 {
			t.Errorf("%+v", report)
		}
		there, err := Open(path, Options{ReadOnly: true})
		must(t, err)
		sameRuns(t, there, here, "unit-oak")
		must(t, there.Close())
		if check, err := here.Check(t.Context()); err != nil || !check.Whole {
			t.Errorf("what was merged is not whole: %+v, %v", check, err)
		}
		if again, err := here.Merge(t.Context(), path, nil); err != nil || again.Known != 2 || again.Rows != 0 {
			t.Errorf("again: %+v, %v", again, err)
		}
	}
}

// Files that are to be run instead of read are refused, by a merge and when they are
// opened as data.
func TestFilesThatAreNotPlainAreRefused(t *testing.T) {
	const endless = ` AS WITH RECURSIVE i(n) AS (VALUES (1) UNION ALL SELECT n + 1 FROM i) SELECT n AS run, 'x' AS name, 1.0 AS value, '' AS unit, 'higher' AS better, NULL AS set_at FROM i`
	for _, c := range []struct{ query, says string }{
		{`DROP TABLE results; CREATE VIEW results` + endless, "table results is not as sweepd makes it"},
		{`ALTER TABLE results RENAME TO old; CREATE VIEW results` + endless, "table results is not as sweepd makes it"},
		{`ALTER TABLE runs ADD COLUMN big TEXT AS (hex(zeroblob(100)))`, "table runs is not as sweepd makes it"},
		{`CREATE TRIGGER more AFTER INSERT ON results BEGIN DELETE FROM runs; END`, "it has a trigger (more)"},
		{`DROP TABLE findings`, "table findings is not as sweepd makes it"},
		{`DROP TABLE findings; CREATE VIRTUAL TABLE findings USING fts5(run, position, code)`, "table findings is not as sweepd makes it"},
		{`PRAGMA application_id = 7`, "another program"},
		{`PRAGMA user_version = 0`, "no schema 0"},
		{`PRAGMA user_version = -1`, "no schema -1"},
		{`PRAGMA user_version = 99`, "newer version"},
	} {
		path := oldFile(t, c.query)
		here := openTest(t)
		_, err := here.Merge(t.Context(), path, nil)
		wantSentence(t, err, path, c.says)
		for _, readOnly := range []bool{true, false} {
			_, err := Open(path, Options{ReadOnly: readOnly})
			wantSentence(t, err, path, c.says)
		}
	}
	path := oldFile(t, `CREATE TABLE mine (x); CREATE VIEW more`+endless+`; CREATE INDEX by_start ON runs (started_at)`)
	if report, err := openTest(t).Merge(t.Context(), path, nil); err != nil || report.Added != 2 {
		t.Errorf("what is not read is no obstacle: %+v, %v", report, err)
	}
}

// Branches that grow together would be read for ever: 20 levels of 300 branches each.
func TestTangledFilesAreRefused(t *testing.T) {
	there, err := Open(t.TempDir(), Options{Unsynced: true})
	must(t, err)
	fill(t, there, "unit-elm", 3)
	for i := range 2000 {
		must(t, there.Append(t.Context(), run.Batch{Device: "unit-elm", Sensors: []run.Sensor{{ID: "x", Resolution: 1}}, Sweeps: []run.Sweep{quarter(2000+i, float64(i))}}))
	}
	var root int64
	must(t, there.read.QueryRow(`SELECT rootpage FROM sqlite_schema WHERE name = 'readings'`).Scan(&root))
	path := there.Path()
	must(t, there.Close())
	file, err := os.ReadFile(path)
	must(t, err)
	page := file[(root-1)*4096 : root*4096]
	if page[0] != 0x05 { // an interior page of a table, https://sqlite.org/fileformat2.html 1.6
		t.Fatalf("the root of readings is a page of kind %d: more rows are needed", page[0])
	}
	first := binary.BigEndian.Uint16(page[12:])
	for i := range int(binary.BigEndian.Uint16(page[3:])) {
		at := binary.BigEndian.Uint16(page[12+2*i:])
		copy(page[at:at+4], page[first:first+4])
	}
	must(t, os.WriteFile(path, file, 0o644))
	_, err = openTest(t).Merge(t.Context(), path, nil)
	wantSentence(t, err, path, "pages belong to several tables", ".recover")
}

// What is no data file is said to be none.
func TestMergeOfWhatIsNoFile(t *testing.T) {
	here := openTest(t)
	dir := t.TempDir()
	for name, content := range map[string]string{"empty.db": "", "random.db": strings.Repeat("\x8a\x03x", 5000), "header.db": "SQLite format 3\x00"} {
		path := filepath.Join(dir, name)
		must(t, os.WriteFile(path, []byte(content), 0o644))
		if _, err := here.Merge(t.Context(), path, nil); err == nil {
			t.Errorf("%s was merged", name)
		} else if name == "empty.db" && !errors.Is(err, ErrNoData) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// A value that no version stored makes no list fail: its run is shown as damaged, the
// others as they are. Here the checksums tell nothing, for they were made of what is there.
func TestOddValuesSpoilNoList(t *testing.T) {
	for _, c := range []struct {
		query   string
		spoilt  bool
		without string
	}{
		{`UPDATE results SET value = 9e999 WHERE run = 1`, true, ""},
		{`UPDATE runs SET package_w = -9e999 WHERE n = 1`, true, ""},
		{`UPDATE runs SET workload = printf('%.*c', 10000000, 'x') WHERE n = 1`, true, ""},
		{`UPDATE summaries SET p95 = 9e999 WHERE run = 1`, false, "summaries"},
	} {
		s := openAt(t, oldFile(t, c.query)) // which makes the checksums
		runs, err := s.Records(t.Context(), store.Filter{})
		must(t, err)
		damaged := 0
		for i := range runs {
			if runs[i].HasFinding(run.DataDamaged) {
				damaged++
				if (runs[i].State == run.Rejected) != c.spoilt || len(runs[i].Workload) > 100 || len(runs[i].Summaries) > 0 {
					t.Errorf("%s: %+v", c.query, runs[i])
				}
			}
		}
		if len(runs) != 2 || damaged != 1 {
			t.Errorf("%s: %d runs, %d damaged", c.query, len(runs), damaged)
		}
		if _, err := s.Runs(t.Context(), store.Filter{}); err != nil {
			t.Errorf("%s: %v", c.query, err)
		}
	}
}
