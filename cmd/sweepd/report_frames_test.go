package main

import (
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"sweepd/run"
)

func TestReportDrawsFrameTimes(t *testing.T) {
	alone(t)
	dir := t.TempDir()
	campaign(t, os.Getenv("SWEEPD_DATA"))
	file := filepath.Join(dir, "frames.csv")
	if err := os.WriteFile(file, []byte("frame_ms\n"+strings.Repeat("16.5\n17.0\n16.1\n0\n", 50)+"33.9\n40.1\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	out := filepath.Join(dir, "report")
	must(t, "report", "--out", out, "--frames", "unit-oak at 25 W="+file)
	page, err := os.ReadFile(filepath.Join(out, "report.html"))
	if err != nil {
		t.Fatal(err)
	}
	if charts, _ := filepath.Glob(filepath.Join(out, "charts", "frame*.svg")); len(charts) == 0 || !strings.Contains(string(page), "unit-oak at 25 W") {
		t.Errorf("the frame times are not drawn: %v", charts)
	}
	tables, _ := readPage(t, filepath.Join(out, "report.html"))
	table := tableOf(t, tables, "frame times in ms")
	must(t, "run", "result", "last", "--frames", file)
	results := parsed[run.Run](t, "run show last --json").Results
	for head, name := range map[string]string{"95 %": "frame_ms_p95", "99 %": "frame_ms_p99"} {
		if got, err := strconv.ParseFloat(table.column(head)[0], 64); err != nil || got != results[name].Value {
			t.Errorf("%s is %v on the page and %v as a result", name, got, results[name].Value)
		}
	}
	if o := sweepd(t, "report", "--out", out, "--frames", "frames.csv"); o.code != exitUsage || !strings.Contains(o.stderr, "want NAME=FILE") {
		t.Errorf("exit %d, %s", o.code, o.stderr)
	}
}
