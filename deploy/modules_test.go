package deploy

import (
	"os"
	"os/exec"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// licences.md is what the generator says now: after a change of the modules run
// `make licences`.
func TestLicencesAreUpToDate(t *testing.T) {
	cmd := exec.Command("go", "run", "./licences")
	cmd.Dir, cmd.Stderr = "tools", os.Stderr
	now, err := cmd.Output()
	if err != nil {
		t.Fatal(err)
	}
	kept, err := os.ReadFile("licences.md")
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(strings.Split(string(kept), "\n"), strings.Split(string(now), "\n")); diff != "" {
		t.Errorf("run `make licences` (- is licences.md, + what it should be):\n%s", diff)
	}
}

// The modules in the cache are those that go.sum knows.
func TestModulesAreVerified(t *testing.T) {
	for _, dir := range []string{"..", "tools"} {
		cmd := exec.Command("go", "mod", "verify")
		cmd.Dir = dir
		out, err := cmd.CombinedOutput()
		if err != nil || !strings.Contains(string(out), "all modules verified") {
			t.Errorf("go mod verify in %s: %v\n%s", dir, err, out)
		}
	}
	vet := exec.Command("go", "vet", "./...")
	vet.Dir = "tools"
	if out, err := vet.CombinedOutput(); err != nil {
		t.Errorf("go vet in tools: %v\n%s", err, out)
	}
}
