package main

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"runtime"
	"slices"
	"strings"
	"time"

	"github.com/prometheus/procfs"
	"github.com/shirou/gopsutil/v3/host"
	"github.com/shirou/gopsutil/v3/load"
)

// buildBinary builds sweepd as it is shipped, from the source around the
// working directory.
func buildBinary(ctx context.Context, path string) error {
	cmd := exec.CommandContext(ctx, "go", "build", "-trimpath", "-ldflags", "-s -w", "-o", path, "sweepd/cmd/sweepd")
	cmd.Env = append(os.Environ(), "CGO_ENABLED=0")
	if out, err := cmd.CombinedOutput(); err != nil {
		return fmt.Errorf("build sweepd (run this inside the project, or give --binary): %w\n%s", err, out)
	}
	return nil
}

// machineClass says when and on what kind of machine the figures were taken,
// without naming it.
func machineClass(now time.Time, loadBefore string) string {
	kernel, err := host.KernelVersion()
	if err != nil {
		kernel = "of unknown version"
	}
	return fmt.Sprintf("%s, %s with %d CPUs (%s), Linux %s, %s; load average %s before, %s after.",
		now.UTC().Format(time.DateOnly), machineKind(), runtime.NumCPU(), runtime.GOARCH, majorMinor(kernel), runtime.Version(), loadBefore, loadAverage())
}

// machineKind tells a virtual machine by the flag that hypervisors set.
func machineKind() string {
	if fs, err := procfs.NewDefaultFS(); err == nil {
		if cpus, err := fs.CPUInfo(); err == nil && len(cpus) > 0 && slices.Contains(cpus[0].Flags, "hypervisor") {
			return "a virtual machine"
		}
	}
	return "a machine"
}

// majorMinor cuts a kernel's version after the second number: what follows may
// name its builder.
func majorMinor(release string) string {
	fields := strings.SplitN(release, ".", 3)
	return strings.Join(fields[:min(2, len(fields))], ".")
}

// loadAverage is the mean number of runnable processes of the last minute.
func loadAverage() string {
	avg, err := load.Avg()
	if err != nil {
		return "unknown"
	}
	return fmt.Sprintf("%.2f", avg.Load1)
}
