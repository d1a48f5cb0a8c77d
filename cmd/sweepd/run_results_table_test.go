package main

import (
	"bytes"
	"strings"
	"testing"
	"time"
)

// Results of many runs come as a table: all of them, or none and each bad row named.
func TestResultsComeAsATable(t *testing.T) {
	alone(t)
	livesIn(t, time.UTC)
	must(t, "import", writeFile(t, "day.csv", "run,device,workload,started_at,duration_s,fps_mean\n"+
		"r-0001,unit-oak,harbour-flight,2026-05-04T09:00:10Z,60,60\nr-0002,unit-oak,harbour-flight,2026-05-04T09:05:00Z,60,\nr-0003,unit-oak,harbour-flight,2026-05-04T09:05:20Z,60,\n"))
	before := must(t, "run", "list", "--json")
	for _, c := range []struct{ name, table, says string }{
		{"a run that is not there", "run,fps_mean\n0001,61\n0009,62\n", `line 3, column run: "0009"`},
		{"a number that is none", "run,fps_mean\n0001,61\n0002,fast\n", `line 3, column fps_mean: "fast": is not a finite number`},
		{"two of them", "run,fps_mean\n0001,slow\n0002,fast\n", "line 2, column fps_mean"},
		{"a row too long", "run,fps_mean\n0001,61,5\n", "line 2"},
		{"two values for one run", "run,fps_mean\n0001,61\nr-0001,62\n", `line 3, column fps_mean: "62": run r-0001 is given fps_mean in line 2, too`},
		{"no run", "fps_mean,score\n61,5\n", "it has no column run"},
		{"no result", "run\n0001\n", "no column of results"},
		{"a label", "run,workload\n0001,tile-sort\n", "column workload is no result"},
		{"a row that names none", "run,fps_mean\n,61\n", "line 2: it names no run"},
		{"a time at which nothing ran", "started_at,fps_mean\n2026-05-04T08:00:00Z,61\n", "no run started or was recording then"},
		{"a time at which two ran", "started_at,fps_mean\n2026-05-04T09:05:40Z,61\n", "2 runs fit: r-0002, r-0003"},
		{"a time that is none", "started_at,fps_mean\nyesterday,61\n", "is no time"},
		{"a slip", "run,fps_maen\n0001,61\n", "did you mean fps_mean?"},
		{"nothing", "", "empty"},
	} {
		o := sweepd(t, "run", "result", "--from", writeFile(t, "results.csv", c.table))
		if o.code != exitFailed || !strings.Contains(o.stderr, c.says) {
			t.Errorf("%s: exit %d, %s; want %q", c.name, o.code, o.stderr, c.says)
		}
	}
	if after := must(t, "run", "list", "--json"); after != before {
		t.Errorf("something was stored:\n%s", after)
	}
	out := must(t, "run", "result", "--from", writeFile(t, "results.csv", "run;fps_mean (fps);load (s)\nR-0001;61,5;\n0002;70,25;3,5\n"), "--lower", "load")
	wantWords(t, out, "2 runs corrected", "result fps_mean 60 → 61.5 fps", "result load 3.5 s added")
	wantWords(t, must(t, "run", "show", "r-0002"), "fps_mean 70.25 fps, load 3.5 s")
	// By their starts, as noted by hand, from standard input.
	var stdout, stderr bytes.Buffer
	table := "started_at\tscore\n2026-05-04 09:00\t5\n2026-05-04T09:05:19Z\t7\n"
	if code := Run(t.Context(), []string{"run", "result", "--from", "-"}, strings.NewReader(table), &stdout, &stderr); code != exitOK {
		t.Fatalf("exit %d: %s", code, &stderr)
	}
	wantWords(t, must(t, "run", "show", "r-0003"), "score 7")
	wantWords(t, must(t, "run", "show", "r-0001"), "score 5")
	must(t, "run", "correct", "--undo")
	must(t, "run", "correct", "--undo")
	if after := must(t, "run", "list", "--json"); after != before {
		t.Errorf("taken back:\n%s\nwant\n%s", after, before)
	}
	if o := sweepd(t, "run", "result", "r-0001", "--from", "x.csv"); o.code != exitUsage || !strings.Contains(o.stderr, "give no RUN") {
		t.Errorf("exit %d: %s", o.code, o.stderr)
	}
	if o := sweepd(t, "run", "result"); o.code != exitUsage {
		t.Errorf("exit %d: %s", o.code, o.stderr)
	}
}
