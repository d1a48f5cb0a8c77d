package main

import (
	"path/filepath"
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
	wantWords(t, must(t, "import", "--undo"), "import 2 of "+wrong, "taken back", "2 runs", "`sweepd import --again 2` has them back")
	if out := must(t, "run", "list", "--json"); out != before {
		t.Errorf("taken back:\n%s", out)
	}
	wantWords(t, must(t, "import", "--list"), right, wrong, "taken back ")
	wantWords(t, must(t, "import", "--again"), "had back")
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
