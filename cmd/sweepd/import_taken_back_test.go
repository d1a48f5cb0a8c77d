package main

import (
	"fmt"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// An import that was taken back is as if it had never been, until it is had back or the
// file is imported again.
func TestImportsAreTakenBack(t *testing.T) {
	data := alone(t)
	right := writeFile(t, "right.csv", "run,device,workload,score\nr-0001,unit-oak,tile-sort,60\n")
	wrong := writeFile(t, "wrong.csv", "device,workload,score\nunit-oak,tile-sort,6000\nunit-oak,tile-sort,61\n")
	if o := sweepd(t, "import", "--undo"); o.code != exitFailed {
		t.Errorf("no data: exit %d", o.code)
	}
	must(t, "import", right)
	before := must(t, "run", "list", "--json")
	must(t, "import", wrong)
	all := must(t, "run", "list", "--json")
	wantWords(t, must(t, "import", "--undo"), "import 2 of "+wrong, "taken back", "2 runs", "`sweepd import --again 2` brings them back")
	if out := must(t, "run", "list", "--json"); out != before {
		t.Errorf("taken back:\n%s", out)
	}
	wantWords(t, must(t, "import", "--list"), right, wrong, "taken back ")
	wantWords(t, must(t, "import", "--again"), "import 2 of "+wrong+" is back: its 2 runs count again")
	if out := must(t, "run", "list", "--json"); out != all {
		t.Errorf("had back:\n%s", out)
	}
	must(t, "import", "--undo", filepath.Base(wrong))
	// The file put right: the row that is as before comes back, the other one is new.
	wantWords(t, must(t, "import", writeFile(t, "wrong.csv", "device,workload,score\nunit-oak,tile-sort,60.5\nunit-oak,tile-sort,61\n")), "2 runs added")
	if out := must(t, "run", "list", "--json"); strings.Contains(out, "6000") || !strings.Contains(out, "60.5") || strings.Count(out, `"id"`) != 3 {
		t.Errorf("put right:\n%s", out)
	}
	wantWords(t, must(t, "import", right), "0 runs added, 1 were here already")
	other := t.TempDir()
	must(t, "import", wrong, "--data", other)
	must(t, "merge", other, "--data", data)
	wantWords(t, must(t, "import", "--undo"), "of "+filepath.Join(other, "sweepd.db"))
	for args, says := range map[string]string{
		"import --undo nosuch.csv": "there is no such import",
		"import --undo sweepd.db":  "taken back already",
		"import --again 1":         "there, and not taken back",
	} {
		if o := sweepd(t, strings.Fields(args)...); o.code != exitFailed || !strings.Contains(o.stderr, says) {
			t.Errorf("%s: exit %d, %s", args, o.code, o.stderr)
		}
	}
	if o := sweepd(t, "import"); o.code != exitUsage || !strings.Contains(o.stderr, "a word is missing") {
		t.Errorf("exit %d, %s", o.code, o.stderr)
	}
	wantWords(t, must(t, "check"), "0 damaged")
}

// What a run is said to differ from is looked at again where other runs of its cell come
// and go: by an import, by a merge, and by taking one back.
func TestRepeatsThatComeAndGo(t *testing.T) {
	data := alone(t)
	head := "run,device,workload,supply,setting_w,fps_mean\n"
	day := head
	for i, watts := range []float64{14, 15, 16, 18, 20, 22, 25} { // three runs at each, which scatter by some 0.3 %
		for k, off := range []float64{1, 1.003, 0.997} {
			day += fmt.Sprintf("r-01%d%d,unit-oak,harbour-flight,mains,%g,%g\n", i, k, watts, off*(45+watts))
		}
	}
	must(t, "import", writeFile(t, "day.csv", day))
	outlying := func(when, want string) {
		t.Helper()
		ids := []string{}
		for _, r := range listedRuns(t, data) {
			for _, f := range r.Findings {
				if f.Code == "outlying" {
					ids = append(ids, r.ID)
				}
			}
		}
		slices.Sort(ids)
		if got := strings.Join(ids, " "); got != want {
			t.Errorf("%s: outlying are %s, want %s", when, got, want)
		}
	}
	outlying("one table", "")
	odd := writeFile(t, "odd.csv", head+"r-0009,unit-oak,harbour-flight,mains,25,95\n")
	must(t, "import", odd)
	outlying("an odd run came", "r-0009")
	must(t, "run", "correct", "r-0009", "--set-setting", "20W")
	outlying("it was of another cell", "r-0009")
	must(t, "import", writeFile(t, "more.csv", head+"r-0010,unit-oak,harbour-flight,mains,28,88\nr-0011,unit-oak,harbour-flight,mains,28,61\n"))
	outlying("a pair that differs", "r-0009 r-0010 r-0011")
	must(t, "import", "--undo", "more.csv")
	must(t, "import", "--undo", "odd.csv")
	outlying("both taken back", "")
	must(t, "import", "--again", "odd.csv")
	outlying("had back", "r-0009")

	other := t.TempDir()
	must(t, "import", writeFile(t, "pair.csv", head+"r-0012,unit-oak,harbour-flight,mains,12,50\n"), "--data", other)
	must(t, "import", writeFile(t, "single.csv", head+"r-0013,unit-oak,harbour-flight,mains,12,71\n"))
	outlying("one at 12 W", "r-0009")
	must(t, "merge", other)
	outlying("merged", "r-0009 r-0012 r-0013")
	// What was found here by other runs makes no run another.
	wantWords(t, must(t, "merge", other), "0 runs added, 1 were here already")
	must(t, "import", "--undo")
	outlying("the merge taken back", "r-0009")

	// A decision, a result and a new name of the device change a cell, too.
	must(t, "import", writeFile(t, "twelve.csv", head+"r-0014,unit-oak,harbour-flight,mains,12,50\n"))
	outlying("a pair at 12 W", "r-0009 r-0013 r-0014")
	must(t, "run", "reject", "r-0014", "--why", "the window was open")
	outlying("rejected", "r-0009")
	must(t, "run", "keep", "r-0014", "--why", "it was not")
	outlying("kept", "r-0009 r-0013 r-0014")
	must(t, "run", "result", "r-0014", "fps_mean=71.2")
	outlying("its result put right", "r-0009")
	must(t, "run", "correct", "--undo")
	outlying("and as it was", "r-0009 r-0013 r-0014")
	must(t, "import", writeFile(t, "elm.csv", head+"r-0015,unit-elm,harbour-flight,mains,15,40\n"))
	must(t, "device", "rename", "unit-elm", "unit-oak")
	outlying("renamed", "r-0009 r-0013 r-0014 r-0015")
	must(t, "device", "rename", "unit-elm", "unit-oak", "--undo")
	outlying("renamed back", "r-0009 r-0013 r-0014")
}

// --again brings back what was taken back last, and what failed or brought nothing took no number.
func TestTheImportTakenBackLastComesBack(t *testing.T) {
	alone(t)
	head := "device,workload,score\n"
	one, two := writeFile(t, "one.csv", head+"unit-oak,tile-sort,1\n"), writeFile(t, "two.csv", head+"unit-oak,tile-sort,2\n")
	must(t, "import", one)
	if o := sweepd(t, "import", writeFile(t, "bad.csv", head+"unit-oak,tile-sort,3\nunit-oak,tile-sort,many\n")); o.code != exitFailed {
		t.Errorf("exit %d", o.code)
	}
	wantWords(t, must(t, "import", one), "0 runs added, 1 were here already")
	must(t, "import", two)
	wantWords(t, must(t, "import", "--undo"), "import 2 of "+two)
	must(t, "import", "--undo")
	wantWords(t, must(t, "import", "--again"), "import 1 of "+one+" is back: its 1 run counts again")
	wantWords(t, must(t, "import", "--again"), "import 2 of "+two)
}
