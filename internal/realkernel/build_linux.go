package realkernel

import (
	"os"
	"os/exec"
	"path/filepath"
	"testing"
)

// Build compiles a Go program as the guest needs it, static and for amd64, and
// returns its path, which is gone when the test ends. The package is a path as
// go build takes it in the test's folder.
func Build(t testing.TB, pkg string) string {
	t.Helper()
	binary := filepath.Join(t.TempDir(), filepath.Base(pkg))
	cmd := exec.CommandContext(t.Context(), "go", "build", "-o", binary, pkg)
	cmd.Env = append(os.Environ(), "CGO_ENABLED=0", "GOOS=linux", "GOARCH=amd64")
	if log, err := cmd.CombinedOutput(); err != nil {
		t.Fatalf("realkernel: %v: %v\n%s", cmd.Args, err, log)
	}
	return binary
}
