//go:build !race

package collectors

import (
	"fmt"
	"path/filepath"
	"runtime"
	"slices"
	"testing"
	"time"

	"golang.org/x/sys/unix"
)

// threadCPU is the CPU time of the calling thread.
func threadCPU(t *testing.T) time.Duration {
	t.Helper()
	var ts unix.Timespec
	if err := unix.ClockGettime(unix.CLOCK_THREAD_CPUTIME_ID, &ts); err != nil {
		t.Fatal(err)
	}
	return time.Duration(ts.Nano())
}

// A sweep costs little more CPU time than reading the same open files and
// nothing else, turn by turn on one thread: 1.1 to 1.2 times as much was
// measured on a virtual machine; 1.6 leaves room for a busy one.
func TestSweepCostsLittleMoreThanItsSystemCalls(t *testing.T) {
	if testing.CoverMode() != "" {
		t.Skip("counting statements costs more than they do")
	}
	const sensors, turns, sweeps, bound = 40, 100, 20, 1.6
	roots := chipTree(t, sensors, "")
	s := NewSet(SetOptions{}, NewHwmon(roots))
	defer s.Close()
	fds := make([]int, sensors)
	for i := range fds {
		fd, err := unix.Open(filepath.Join(roots.sys("class", "hwmon", "hwmon0"), fmt.Sprintf("power%d_input", i+1)), unix.O_RDONLY|unix.O_CLOEXEC, 0)
		if err != nil {
			t.Fatal(err)
		}
		defer unix.Close(fd)
		fds[i] = fd
	}
	buf := make([]byte, textMax)
	runtime.LockOSThread()
	defer runtime.UnlockOSThread()
	var swept, bare []time.Duration
	now := time.Duration(0)
	for range turns {
		start := threadCPU(t)
		for range sweeps {
			now += 100 * time.Millisecond
			if len(s.Sweep(now)) != sensors {
				t.Fatal("the sweep has not all sensors")
			}
		}
		middle := threadCPU(t)
		for range sweeps {
			for _, fd := range fds {
				if n, err := unix.Pread(fd, buf, 0); n == 0 || err != nil {
					t.Fatal(n, err)
				}
			}
		}
		swept = append(swept, middle-start)
		bare = append(bare, threadCPU(t)-middle)
	}
	slices.Sort(swept)
	slices.Sort(bare)
	ratio := float64(swept[turns/10]) / float64(bare[turns/10]) // the quiet turns
	t.Logf("%.2f times the CPU time of %d preads (%v a sweep)", ratio, sensors, swept[turns/10]/sweeps)
	if ratio > bound {
		t.Errorf("a sweep costs %.2f times as much CPU time as its system calls, at most %.1f is wanted", ratio, bound)
	}
}
