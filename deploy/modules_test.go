package deploy

import (
	"os"
	"os/exec"
	"path/filepath"
	"slices"
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

// goTool runs the go command in a folder, seen from the project's, and returns what it printed.
func goTool(t *testing.T, dir string, args ...string) string {
	t.Helper()
	cmd := exec.Command("go", args...)
	cmd.Dir = filepath.Join("..", dir)
	out, err := cmd.CombinedOutput()
	if err != nil {
		t.Fatalf("go %s in %s: %v\n%s", strings.Join(args, " "), cmd.Dir, err, out)
	}
	return string(out)
}

// The modules in the cache are those that go.sum knows.
func TestModulesAreVerified(t *testing.T) {
	for _, dir := range []string{".", "deploy/tools"} {
		if out := goTool(t, dir, "mod", "verify"); !strings.Contains(out, "all modules verified") {
			t.Errorf("go mod verify in %s: %s", dir, out)
		}
	}
	goTool(t, "deploy/tools", "vet", "./...")
}

// What stands in a folder in place of a module is no package of ./..., so nobody else
// tests it.
func TestModuleInPlaceOfAnother(t *testing.T) {
	const replaced = "github.com/mwitkow/go-conntrack"
	goTool(t, ".", "vet", replaced)
	goTool(t, ".", "test", replaced)
}

// The page of a report is what its template says now: after a change of page.templ run
// `go generate ./report`.
func TestPageOfTheReportIsGenerated(t *testing.T) {
	goTool(t, "deploy/tools", "tool", "templ", "generate", "-check", "-path", "../../report")
}

// What travels of the page is what is made of it now: after a change of console/page.js or
// page.css run `go generate ./console`.
func TestPageIsGenerated(t *testing.T) {
	goTool(t, "deploy/tools", "run", "./lean", "-check")
}

// The linker leaves out what nobody calls, and has to keep every exported method of every
// type once something reachable asks for methods by a name that it cannot know, as
// text/template does: that made a seventh of the program.
func TestLinkerLeavesMethodsOut(t *testing.T) {
	t.Setenv("CGO_ENABLED", "0")
	asking := func(dir string) []string {
		var list []string
		for line := range strings.Lines(goTool(t, ".", "build", "-trimpath", "-o", filepath.Join(t.TempDir(), "program"), "-ldflags=-dumpdep", dir)) {
			if who, _, found := strings.Cut(line, " <ReflectMethod> -> "); found && !slices.Contains(list, who) {
				list = append(list, who)
			}
		}
		return list
	}
	if list := asking("./deploy/testdata/asks"); !slices.Contains(list, "main.main") {
		t.Errorf("the linker says that %q ask for methods, and not that main.main does", list)
	}
	if list := asking("./cmd/sweepd"); len(list) > 0 {
		t.Errorf("%q ask for methods by a name that the linker cannot know, so it keeps them all; who calls them, go build -ldflags=-dumpdep ./cmd/sweepd tells", list)
	}
}
