package realkernel

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// Build compiles a Go program as the guest needs it, static and for amd64, and
// returns its path, which is gone when the test ends. The package is a path as
// go build takes it in the test's folder.
func Build(t testing.TB, pkg string) string {
	t.Helper()
	noteSources(t, pkg)
	binary := filepath.Join(t.TempDir(), filepath.Base(pkg))
	goTool(t, "build", "-o", binary, pkg)
	return binary
}

// noteSources looks at every file that the program is made of, so that go test
// does not take a cached result for one of the present program: it knows the
// files that the test itself looked at.
func noteSources(t testing.TB, pkg string) {
	t.Helper()
	const files = `{{if not .Standard}}{{$dir := .Dir}}{{range .GoFiles}}{{$dir}}/{{.}}
{{end}}{{range .EmbedFiles}}{{$dir}}/{{.}}
{{end}}{{end}}`
	for file := range strings.Lines(goTool(t, "list", "-deps", "-f", files, pkg)) {
		if _, err := os.Stat(strings.TrimSpace(file)); err != nil && strings.TrimSpace(file) != "" {
			t.Fatal(err)
		}
	}
}

// goTool returns what the go command prints.
func goTool(t testing.TB, args ...string) string {
	t.Helper()
	cmd := exec.CommandContext(t.Context(), "go", args...)
	cmd.Env = append(os.Environ(), "CGO_ENABLED=0", "GOOS=linux", "GOARCH=amd64")
	var log strings.Builder
	cmd.Stderr = &log
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("realkernel: %v: %v\n%s", cmd.Args, err, log.String())
	}
	return string(out)
}
