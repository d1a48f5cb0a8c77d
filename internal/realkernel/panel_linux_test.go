package realkernel_test

import (
	"strings"
	"testing"

	"sweepd/internal/realkernel"
)

// TestCoresOfARealKernel has processors go offline and come back by everything that a day
// without hands uses: the kernel itself says which are online, and all are in the end
// (Documentation/core-api/cpu_hotplug.rst).
func TestCoresOfARealKernel(t *testing.T) {
	t.Parallel()
	got := realkernel.Boot(t, realkernel.Options{Binary: realkernel.Build(t, "./testdata/panel"), Processors: 4, Script: `
mkdir /data
panel /data cores=3 cores=1 cores=2 cores=5 cores=0 cores= cores=4 cores=2
cat /sys/devices/system/cpu/online
`})
	want := `first: cores=4 changed 0 not in force 0
cores=3: cores=3 changed 1 not in force 0
cores=1: cores=1 changed 3 not in force 0
cores=2: cores=2 changed 2 not in force 0
cores=5 does not go: cores: 5 processors do not go: this machine has 4, of which 1 cannot go offline (logical ones: a core with two threads is two)
cores=0 does not go: cores: 0 processors do not go: this machine has 4, of which 1 cannot go offline (logical ones: a core with two threads is two)
cores=: cores=4 changed 0 not in force 0
cores=4: cores=4 changed 0 not in force 0
cores=2: cores=2 changed 2 not in force 0
restored: cores=4 changed 0 not in force 0
0-3
`
	if got.ExitCode != 0 || strings.TrimSpace(got.Stdout) != strings.TrimSpace(want) {
		t.Errorf("exit %d\n%s\nwant\n%s", got.ExitCode, got.Stdout, want)
	}
}
