package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// A run that two files tell differently is named, left as it is, and makes the
// merge fail; all others are taken.
func TestMergeNamesConflicts(t *testing.T) {
	data := alone(t)
	table := func(name, text string) string {
		path := filepath.Join(t.TempDir(), name)
		if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
		return path
	}
	other := t.TempDir()
	must(t, "import", table("here.csv", "run,device,workload,setting_w,score\nr-1,unit-oak,tile-sort,15,100\n"))
	must(t, "import", table("there.csv", "run,device,workload,setting_w,score\nr-1,unit-oak,tile-sort,15,101\nr-2,unit-elm,tile-sort,15,99\n"), "--data", other)
	o := sweepd(t, "merge", other)
	if o.code != exitFailed || !strings.Contains(o.out, "1 run added") || !strings.Contains(o.out, "conflict: r-1 differs") ||
		!strings.Contains(o.stderr, "1 run of the other file could not be taken") {
		t.Errorf("exit %d\n%s%s", o.code, o.out, o.stderr)
	}
	if out := must(t, "run", "list", "--data", data, "--json"); strings.Contains(out, "101") || !strings.Contains(out, "r-2") {
		t.Errorf("after the merge:\n%s", out)
	}
}
