// Package built builds the program for tests that run it: the same that is shipped, but
// for its name.
package built

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
)

// Run says in program where the built program is, runs the tests of a package and returns
// their exit status, which is 1 where it could not be built. In SWEEPD_PROGRAM somebody may
// name one that was built before.
func Run(m *testing.M, program *string) int {
	if *program = os.Getenv("SWEEPD_PROGRAM"); *program != "" {
		return m.Run()
	}
	dir, err := os.MkdirTemp("", "sweepd-built")
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		return 1
	}
	defer os.RemoveAll(dir)
	*program = filepath.Join(dir, "sweepd")
	build := exec.Command("go", "build", "-o", *program, "sweepd/cmd/sweepd")
	build.Env = append(os.Environ(), "CGO_ENABLED=0")
	if out, err := build.CombinedOutput(); err != nil {
		fmt.Fprintf(os.Stderr, "building the program: %v\n%s", err, out)
		return 1
	}
	return m.Run()
}
