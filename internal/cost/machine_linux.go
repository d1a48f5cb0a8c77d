package main

import (
	"bytes"
	"context"
	"fmt"
	"os"
	"os/exec"
	"runtime"
	"strings"
	"time"

	"golang.org/x/sys/unix"
)

// memoryDir makes a folder in memory where there is such a place, since
// sensors are not on a disk.
func memoryDir() (string, error) {
	if dir, err := os.MkdirTemp("/dev/shm", "sweepd-cost-"); err == nil {
		return dir, nil
	}
	return os.MkdirTemp("", "sweepd-cost-tree-")
}

// buildBinary builds sweepd from the source around the working directory.
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
	kind := "a machine"
	if cpuHas("hypervisor") {
		kind = "a virtual machine"
	}
	var u unix.Utsname
	kernel := "of unknown version"
	if unix.Uname(&u) == nil {
		kernel = majorMinor(unix.ByteSliceToString(u.Release[:]))
	}
	return fmt.Sprintf("%s, %s with %d CPUs (%s), Linux %s, %s; load average %s before, %s after.",
		now.UTC().Format(time.DateOnly), kind, runtime.NumCPU(), runtime.GOARCH, kernel, runtime.Version(), loadBefore, readLoad())
}

// majorMinor cuts a kernel's version after the second number: what follows may
// name its builder.
func majorMinor(release string) string {
	fields := strings.SplitN(release, ".", 3)
	return strings.Join(fields[:min(2, len(fields))], ".")
}

func cpuHas(flag string) bool {
	text, err := os.ReadFile("/proc/cpuinfo")
	return err == nil && bytes.Contains(text, []byte(" "+flag))
}

// readLoad is the mean number of runnable processes of the last minute, as the
// kernel writes it.
func readLoad() string {
	text, err := os.ReadFile("/proc/loadavg")
	if err != nil {
		return "unknown"
	}
	load, _, _ := strings.Cut(string(text), " ")
	return load
}
