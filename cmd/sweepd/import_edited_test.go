package main

import (
	"encoding/csv"
	"os"
	"path/filepath"
	"slices"
	"strconv"
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

// edited is an export of what is here, with the cells of each row edited.
func edited(t *testing.T, edit func(row map[string]string)) (path string) {
	t.Helper()
	path = filepath.Join(t.TempDir(), "export.csv")
	must(t, "export", "--as", "csv", "--out", path)
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	table := [][]string{{}}
	for _, row := range rows[1:] {
		cells := map[string]string{}
		for i, name := range rows[0] {
			cells[name] = row[i]
		}
		edit(cells)
		table[0] = slices.DeleteFunc(slices.Clone(rows[0]), func(name string) bool { _, there := cells[name]; return !there })
		row = nil
		for _, name := range table[0] {
			row = append(row, cells[name])
		}
		table = append(table, row)
	}
	var text strings.Builder
	if err := csv.NewWriter(&text).WriteAll(table); err != nil {
		t.Fatal(err)
	}
	return writeFile(t, "edited.csv", text.String())
}

// What a person and a spreadsheet make of an export without meaning to doubles no run,
// corrects none and is not lost without a word.
func TestAnExportThatASpreadsheetWrote(t *testing.T) {
	alone(t)
	must(t, "import", writeFile(t, "day.csv", "run,device,workload,supply,setting_w,started_at,duration_s,package_w,system_w,fps_mean,duration\n"+
		"r-0001,unit-oak,tile-sort,battery,15,2026-05-04T09:00:00.123Z,60.00000000000001,5.984664133971297,8.123456789012345,60.12345678901234,61\n"+
		"r-0002,unit-oak,tile-sort,battery,20,2026-05-04T09:05:00.987Z,60.25,19.9,22.1,70,62\n"), "--new")
	here := must(t, "run", "list", "--json")
	unchanged := func(what string) {
		t.Helper()
		if now := must(t, "run", "list", "--json"); now != here {
			t.Errorf("%s:\n%s\nwant\n%s", what, now, here)
		}
	}
	// A result that is called almost like a column that is there.
	wantWords(t, must(t, "import", edited(t, func(map[string]string) {})), "0 runs added, 2 were here already")
	// 15 digits, and starts without milliseconds.
	digits := func(row map[string]string) {
		for name, text := range row {
			if x, err := strconv.ParseFloat(text, 64); err == nil {
				row[name] = strconv.FormatFloat(x, 'g', 15, 64)
			}
		}
		row["started_at"], _, _ = strings.Cut(row["started_at"], ".")
		row["started_at"] += "Z"
	}
	rounded := edited(t, digits)
	wantWords(t, must(t, "import", rounded), "0 runs added, 2 were here already\n")
	unchanged("15 digits")
	wantWords(t, must(t, "import", rounded, "--data", t.TempDir()), "2 runs added")
	o := sweepd(t, "import", edited(t, func(row map[string]string) { row["package_w"] = "5.98466414" }))
	if o.code != exitFailed || !strings.Contains(o.stderr, "no table corrects it") {
		t.Errorf("exit %d: %s", o.code, o.stderr)
	}
	// Without ids.
	for _, cut := range []bool{false, true} {
		o = sweepd(t, "import", edited(t, func(row map[string]string) {
			if cut {
				digits(row)
			}
			row["fps_mean"] = "63"
			delete(row, "run")
			delete(row, "revision")
		}))
		if o.code != exitOK || !strings.Contains(o.out, "0 runs added, 2 were here already") || !strings.Contains(o.stderr, "2 rows without an id are of runs that are here already") || !strings.Contains(o.stderr, "keep the columns run and revision") {
			t.Errorf("exit %d: %s%s", o.code, o.out, o.stderr)
		}
		unchanged("without ids")
	}
	// A start to the minute, or of a day, is no run's own.
	wantWords(t, must(t, "import", writeFile(t, "minutes.csv", "device,workload,started_at,score\nunit-oak,tile-sort,2026-05-04 09:00Z,1\nunit-oak,tile-sort,2026-05-04 00:00:00Z,1\nunit-oak,tile-sort,2026-05-04 00:00:00Z,2\n")), "3 runs added")
	must(t, "import", "--undo")
	// Without revisions.
	lacking := edited(t, func(row map[string]string) {
		if row["run"] == "r-0002" {
			row["fps_mean"] = "71"
		}
		delete(row, "revision")
	})
	o = sweepd(t, "import", lacking)
	if o.code != exitFailed || !strings.Contains(o.stderr, `line 3, column fps_mean: the table says "71", run r-0002 here has "70"`) || !strings.Contains(o.stderr, "--force") {
		t.Errorf("exit %d: %s%s", o.code, o.out, o.stderr)
	}
	unchanged("without revisions")
	wantWords(t, must(t, "import", lacking, "--force"), "1 run corrected")
	before := edited(t, func(row map[string]string) { delete(row, "revision") })
	must(t, "run", "result", "r-0001", "fps_mean=65")
	if o = sweepd(t, "import", before); o.code != exitOK || !strings.Contains(o.stderr, "line 2: run r-0001 was corrected since, and stays so") {
		t.Errorf("exit %d: %s%s", o.code, o.out, o.stderr)
	}
	// While a run recorded.
	o = sweepd(t, "import", edited(t, func(row map[string]string) {
		if row["run"] == "r-0002" {
			row["state"], row["duration_s"] = "recording", ""
		}
	}), "--data", t.TempDir())
	if o.code != exitOK || !strings.Contains(o.out, "1 run added, 0 were here already") || !strings.Contains(o.stderr, "1 row was left out: its run was still recording") {
		t.Errorf("exit %d: %s%s", o.code, o.out, o.stderr)
	}
}

// An export that selects nothing leaves the file alone, and a data file is no table.
func TestAnExportOfNothing(t *testing.T) {
	data := alone(t)
	must(t, "import", writeFile(t, "day.csv", "device,workload,score\nunit-elm,tile-sort,1\n"))
	path := filepath.Join(t.TempDir(), "day.csv")
	must(t, "export", "--as", "csv", "--out", path)
	before, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	for _, as := range []string{"csv", "json"} {
		o := sweepd(t, "export", "--as", as, "--out", path, "--device", "unit-elmm")
		if o.code != exitFailed || !strings.Contains(o.stderr, "did you mean unit-elm") || !strings.Contains(o.stderr, "nothing was written: no run fits") {
			t.Errorf("exit %d: %s%s", o.code, o.out, o.stderr)
		}
	}
	if after, err := os.ReadFile(path); err != nil || string(after) != string(before) {
		t.Errorf("the file is now %q, %v", after, err)
	}
	if o := sweepd(t, "import", filepath.Join(data, "sweepd.db")); o.code != exitFailed || !strings.Contains(o.stderr, "is a data file, not a table: sweepd merge ") {
		t.Errorf("exit %d: %s", o.code, o.stderr)
	}
}
