package main

import (
	"bytes"
	"context"
	"strings"
	"testing"
)

// An import or a merge that is stopped says so in one sentence, and nothing is taken over.
func TestStoppedIntake(t *testing.T) {
	alone(t)
	other := t.TempDir()
	table := writeFile(t, "runs.csv", "device,workload,score\nunit-oak,tile-sort,1\n")
	must(t, "import", table, "--data", other)
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	for _, args := range [][]string{{"merge", other}, {"import", table}} {
		var stderr bytes.Buffer
		code := Run(ctx, args, strings.NewReader(""), &bytes.Buffer{}, &stderr)
		if said := stderr.String(); code != exitFailed || strings.Count(said, "\n") != 1 ||
			!strings.HasSuffix(said, ": stopped before the end: no run was taken over; do it again\n") {
			t.Errorf("%q: exit %d, %q", args, code, said)
		}
	}
	if out := must(t, "run", "list", "--json"); strings.Contains(out, "unit-oak") {
		t.Error("runs were taken over")
	}
}
