package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// Data of version 1 is checked as far as that goes, and what that is worth is said.
func TestCheckOfDataWithoutChecksums(t *testing.T) {
	data := alone(t)
	old, err := os.ReadFile("../../store/sqlite/testdata/version1.db")
	if err == nil {
		err = os.WriteFile(filepath.Join(data, "sweepd.db"), old, 0o644)
	}
	if err != nil {
		t.Fatal(err)
	}
	want := "2 runs of 1 device; this data is of version 1, which kept no checksums: " +
		"a changed byte in it cannot be noticed; the first command that writes adds them\n"
	if out := must(t, "check"); !strings.Contains(out, want) {
		t.Errorf("%q, want %q in it", out, want)
	}
	if out := must(t, "check", "--json"); !strings.Contains(out, `"checksums": false`) || !strings.Contains(out, `"whole": true`) {
		t.Error(out)
	}
	must(t, "import", writeFile(t, "more.csv", "device,workload,score\nunit-elm,tile-sort,3\n"))
	if out := must(t, "check"); !strings.Contains(out, "3 runs whole, 0 damaged") {
		t.Errorf("after a command that wrote: %q", out)
	}
	if out := must(t, "check", "--json"); !strings.Contains(out, `"checksums": true`) {
		t.Error(out)
	}
}
