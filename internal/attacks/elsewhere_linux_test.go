package attacks

import (
	"database/sql"
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// elsewhere are the attacks by data from elsewhere: other files that are merged, tables
// that are imported, and results that come in parts.
var elsewhere = []attack{
	badRun("an endless value", `UPDATE results SET value = 9e999 WHERE run = 1`, "damaged"),
	badRun("a setting below nothing", `UPDATE runs SET setting_w = -5 WHERE n = 1`, "watts must be above 0"),
	badRun("a workload of 10 MB", `UPDATE runs SET workload = printf('%.*c', 10000000, 'x') WHERE n = 1`, "more than 1048576 bytes"),
	badRun("a device that colours the terminal", `UPDATE runs SET device = 'a' || char(27) || '[31m' WHERE n = 1`, "control characters"),
	badRun("a run that is called last", `UPDATE runs SET id = 'last' WHERE n = 1`, "recorded last"),
	badRun("a packed row of 10^12 sweeps", `UPDATE readings SET sweeps = 1000000000000 WHERE id IN (SELECT id << 32 FROM series WHERE run = 1)`, "row 0 of its readings"),
	{
		fault:    "4 merge a file with a run of number 10^12",
		expected: "both runs come in at once",
		try: func(t *testing.T, m *machine) string {
			o := m.mustRun("merge", m.stranger(`UPDATE runs SET n = 1000000000000 WHERE n = 2`))
			if !strings.HasPrefix(o.stdout, "2 runs added") {
				t.Error(o.stdout)
			}
			return "both runs are in"
		},
	}, {
		fault:    "4 merge, and open, a file with an endless view in place of a table",
		expected: "exit 1 with a sentence, in little memory",
		try: func(t *testing.T, m *machine) string {
			other := m.stranger(`DROP TABLE results; CREATE VIEW results AS WITH RECURSIVE i(n) AS (VALUES (1) UNION ALL SELECT n + 1 FROM i)
				SELECT n AS run, 'x' AS name, 1.0 AS value, '' AS unit, 'higher' AS better, NULL AS set_at FROM i`)
			for _, args := range [][]string{{"merge", other}, {"run", "list", "--data", other}, {"import", m.write("one.csv", tableOfOne), "--data", other}} {
				if o := m.run(args...); o.code != 1 || !strings.Contains(o.stderr, "table results is not as sweepd makes it") || o.peakKB > 200_000 {
					t.Errorf("%v: exit %d, %d kB\n%s", args, o.code, o.peakKB, o.stderr)
				}
			}
			return "refused by merge, run list and import: table results is not as sweepd makes it"
		},
	}, {
		fault:    "4 data with a value of 9e999, whose checksum fits",
		expected: "the run is shown as damaged; import adds a run and names the damaged one; list works",
		try: func(t *testing.T, m *machine) string {
			other := m.stranger(`UPDATE results SET value = 9e999 WHERE run = 1`) // older files have no checksums: opening makes them
			o := m.run("import", m.write("one.csv", tableOfOne), "--data", other) // looks which runs differ from their like
			if o.code != 1 || !strings.Contains(o.stdout, "1 run added") || !strings.Contains(o.stderr, "damaged data: results of run unit-oak-run-000") {
				t.Errorf("import: exit %d\n%s\n%s", o.code, o.stdout, o.stderr)
			}
			runs := m.listed("--data", other)
			if len(runs) != 3 || runs["unit-oak-run-000"] != "rejected" || runs["unit-oak-run-001"] != "finished" {
				t.Errorf("%v", runs)
			}
			return "the run is shown as damaged, the others as they are"
		},
	}, {
		fault:    `7 "run result last" after importing a run that starts in half an hour`,
		expected: "the run that was recorded gets the result",
		try: func(t *testing.T, m *machine) string {
			m.agent()
			m.mustRun("run", "start", "--workload", "harbour-flight", "--setting", "15W")
			m.mustRun("run", "stop")
			m.mustRun("import", m.write("future.csv", "run,device,workload,setting_w,started_at,fps\nfrom-the-future,unit-oak,harbour-flight,15,"+
				time.Now().Add(30*time.Minute).UTC().Format(time.RFC3339)+",60\n"))
			m.mustRun("run", "result", "last", "fps=99")
			if list := m.run("run", "show", "from-the-future", "--json").stdout; !strings.Contains(list, `"value": 60`) || strings.Contains(list, "99") {
				t.Errorf("the imported run was corrected: %s", list)
			}
			if own := m.run("run", "show", "last", "--json").stdout; !strings.Contains(own, `"value": 99`) {
				t.Errorf("the recorded run was not: %s", own)
			}
			return "the recorded run got it"
		},
	}, {
		fault:    `7 "run show last" where all runs were imported`,
		expected: "exit 1 with a sentence",
		try: func(t *testing.T, m *machine) string {
			m.mustRun("import", m.write("one.csv", tableOfOne))
			if o := m.run("run", "show", "last"); o.code != 1 || !strings.Contains(o.stderr, "imported or merged") {
				t.Errorf("exit %d: %s", o.code, o.stderr)
			}
			return "exit 1: those that are here were imported or merged"
		},
	}, {
		fault:    "2 a stop while 60,000 rows are imported",
		expected: "it passes between two slices, long before the import ends",
		try: func(t *testing.T, m *machine) string {
			m.agent()
			m.mustRun("run", "start", "--workload", "harbour-flight", "--setting", "15W")
			ended, _ := m.importing(60_000)
			o := m.mustRun("run", "stop", "--result", "fps=60")
			select {
			case <-ended:
				t.Errorf("the stop waited %v for the whole import", o.took)
			default:
			}
			if runs := m.listed(); len(runs) != 1 {
				t.Errorf("%d runs are listed while the import goes on, want the one that was recorded", len(runs))
			}
			return "it passed; nothing of the import was listed"
		},
	}, {
		fault:    "2 an import of 60,000 rows is killed halfway",
		expected: "nothing of it is there",
		try: func(t *testing.T, m *machine) string {
			ended, kill := m.importing(60_000)
			kill()
			<-ended
			if runs := m.listed(); len(runs) != 0 {
				t.Errorf("%d runs are listed", len(runs))
			}
			return "nothing is there"
		},
	}, {
		fault:    "5 run stop --result --frames is killed at any moment",
		expected: "the run has no result, the one that was typed, or all with those of the frames",
		try: func(t *testing.T, m *machine) string {
			m.agent()
			frames := m.write("frames.csv", "frame_ms\n"+strings.Repeat("16.5\n17.0\n16.1\n", 2000))
			seen := map[int]int{}
			for range 8 {
				m.mustRun("run", "start", "--workload", "harbour-flight", "--setting", "15W")
				c := m.command("run", "stop", "--result", "score=5", "--frames", frames)
				if err := c.Start(); err != nil {
					t.Fatal(err)
				}
				time.Sleep(time.Duration(10+rand.IntN(90)) * time.Millisecond) // the moment is what the attack is about
				c.Process.Kill()
				c.Wait()
				m.run("run", "stop") // where the kill came first
				var d struct{ Results map[string]any }
				if err := json.Unmarshal([]byte(m.mustRun("run", "show", "last", "--json").stdout), &d); err != nil {
					t.Fatal(err)
				}
				seen[len(d.Results)]++
			}
			for n := range seen {
				if n > 1 && n < 10 {
					t.Errorf("a run has %d results, want none, the score, or those of the frames with it", n)
				}
			}
			return fmt.Sprintf("runs by their number of results: %v", seen)
		},
	},
}

// badRun is a merge of a file with two runs, the first of which is bad.
func badRun(what, query, why string) attack {
	return attack{
		fault:    "4 merge a file with " + what,
		expected: "the run is left out by name, the other one comes in, every list works",
		try: func(t *testing.T, m *machine) string {
			o := m.run("merge", m.stranger(query), "--json")
			var report struct {
				Added int
				Bad   []struct{ Run, Why string }
			}
			if err := json.Unmarshal([]byte(o.stdout), &report); err != nil {
				t.Fatalf("%v: %s%s", err, o.stdout, o.stderr)
			}
			if o.code != 1 || report.Added != 1 || len(report.Bad) != 1 || !strings.Contains(report.Bad[0].Why, why) || o.peakKB > 300_000 {
				t.Fatalf("exit %d, %d kB, %+v\n%s", o.code, o.peakKB, report, o.stderr)
			}
			if runs := m.listed(); len(runs) != 1 || runs["unit-oak-run-001"] != "finished" {
				t.Errorf("%v", runs)
			}
			m.mustRun("export", "--as", "csv", "--out", m.path("out.csv"))
			return fmt.Sprintf("%s is left out: %s", report.Bad[0].Run, report.Bad[0].Why)
		},
	}
}

// stranger is a data file of an older version, which has no checksums, with the runs
// unit-oak-run-000 and unit-oak-run-001, as a query leaves it.
func (m *machine) stranger(query string) string {
	m.t.Helper()
	data, err := os.ReadFile("../../store/sqlite/testdata/version1.db")
	if err != nil {
		m.t.Fatal(err)
	}
	path := m.write("stranger.db", string(data))
	db, err := sql.Open("sqlite", path)
	if err != nil {
		m.t.Fatal(err)
	}
	defer db.Close()
	if _, err := db.Exec(query); err != nil {
		m.t.Fatal(err)
	}
	return path
}

// listed are the runs that `run list` gives, by their ids, and their states.
func (m *machine) listed(args ...string) map[string]string {
	m.t.Helper()
	var list []struct{ ID, State string }
	o := m.run(append([]string{"run", "list", "--json"}, args...)...)
	if err := json.Unmarshal([]byte(o.stdout), &list); err != nil {
		m.t.Fatalf("%v: %s%s", err, o.stdout, o.stderr)
	}
	runs := map[string]string{}
	for _, r := range list {
		runs[r.ID] = r.State
	}
	return runs
}

// importing starts an import of so many rows and waits until some of them are stored.
func (m *machine) importing(rows int) (ended chan struct{}, kill func()) {
	m.t.Helper()
	var table strings.Builder
	table.WriteString("device,workload,setting_w,started_at,fps\n")
	for i := range rows {
		fmt.Fprintf(&table, "unit-elm,tile-sort,%d,%s,%d\n", 8+i%20, time.Unix(1700000000+60*int64(i), 0).UTC().Format(time.RFC3339), i)
	}
	c := m.command("import", m.write("many.csv", table.String()))
	if err := c.Start(); err != nil {
		m.t.Fatal(err)
	}
	ended = make(chan struct{})
	go func() { defer close(ended); c.Wait() }()
	m.t.Cleanup(func() { c.Process.Kill(); <-ended })
	db, err := sql.Open("sqlite", "file:"+filepath.Join(m.data, "sweepd.db")+"?mode=ro")
	if err != nil {
		m.t.Fatal(err)
	}
	defer db.Close()
	m.eventually("the first rows are stored", func() bool {
		var some int
		err := db.QueryRow(`SELECT count(*) FROM (SELECT 1 FROM runs WHERE import IS NOT NULL LIMIT 1)`).Scan(&some)
		return err == nil && some > 0
	})
	return ended, func() { c.Process.Kill() }
}
