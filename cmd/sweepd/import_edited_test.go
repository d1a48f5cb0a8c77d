package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// An export that a spreadsheet edited corrects what it exports, unless somebody was faster.
func TestAnEditedExportCorrects(t *testing.T) {
	alone(t)
	must(t, "import", writeFile(t, "day.csv", "run,device,workload,supply,setting_w,started_at,duration_s,package_w,fps_mean,load\n"+
		"r-0001,unit-oak,harbor-flight,mains,15,2026-05-04T09:00:00Z,60,14.9,60,3\nr-0002,unit-oak,harbour-flight,mains,20,2026-05-04T09:05:00Z,60,19.9,70,\n"))
	export := func() (path, text string) {
		path = filepath.Join(t.TempDir(), "export.csv")
		must(t, "export", "--as", "csv", "--out", path)
		data, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		return path, string(data)
	}
	edit := func(path, text string, pairs ...string) {
		if err := os.WriteFile(path, []byte(strings.NewReplacer(pairs...).Replace(text)), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	path, text := export()
	wantWords(t, text, ",revision,", ",r")
	before := must(t, "run", "list", "--json")
	wantWords(t, must(t, "import", path), "0 runs added, 2 were here already\n")
	edit(path, text, "harbor-flight", "harbour-flight", ",60,3\n", ",61.5,\n")
	wantWords(t, must(t, "import", path), "2 were here already", "1 run corrected", "run correct --undo")
	wantWords(t, must(t, "run", "show", "r-0001"), "harbour-flight", "fps_mean 61.5", "load 3", "table ")
	wantWords(t, must(t, "import", path), "0 runs added, 2 were here already\n") // says nothing new
	// The first table again: its rows are as they were exported, so they correct nothing.
	edit(path, text)
	wantWords(t, must(t, "import", path), "0 runs added, 2 were here already\n")
	must(t, "run", "correct", "--undo")
	if after := must(t, "run", "list", "--json"); after != before {
		t.Errorf("taken back:\n%s\nwant\n%s", after, before)
	}
	// Somebody was faster.
	path, text = export()
	must(t, "run", "result", "r-0001", "fps_mean=65")
	edit(path, text, ",60,3\n", ",61.5,3\n")
	o := sweepd(t, "import", path)
	if o.code != exitFailed || !strings.Contains(o.stderr, `line 2, column fps_mean: the table says "61.5"`) || !strings.Contains(o.stderr, `run r-0001 was corrected to "65"`) || !strings.Contains(o.stderr, "--force") {
		t.Errorf("exit %d: %s", o.code, o.stderr)
	}
	wantWords(t, must(t, "run", "list"), "65")
	wantWords(t, must(t, "import", path, "--force"), "1 run corrected")
	wantWords(t, must(t, "run", "list"), "61.5")
	// What was measured, and states, no table corrects: nothing of it is taken.
	path, text = export()
	edit(path, text, ",14.9,", ",13.9,", "harbour-flight", "tile-sort")
	o = sweepd(t, "import", path)
	if o.code != exitFailed || !strings.Contains(o.stderr, "column package_w: it is 14.9 here, and 13.9 in the table") {
		t.Errorf("exit %d: %s", o.code, o.stderr)
	}
	edit(path, text, "finished", "rejected")
	if o = sweepd(t, "import", path); o.code != exitFailed || !strings.Contains(o.stderr, "sweepd run reject") {
		t.Errorf("exit %d: %s", o.code, o.stderr)
	}
	if out := must(t, "run", "list"); strings.Contains(out, "tile-sort") {
		t.Error(out)
	}
	// In another folder the runs are new, and a merge keeps what they show.
	path, text = export()
	other := t.TempDir()
	wantWords(t, must(t, "import", path, "--data", other), "2 runs added")
	must(t, "export", "--as", "csv", "--out", path, "--data", other)
	if data, _ := os.ReadFile(path); string(data) != text {
		t.Errorf("revisions elsewhere:\n%s\nwant\n%s", data, text)
	}
}
