package collectors

import (
	"math"
	"testing"
	"time"

	"github.com/shirou/gopsutil/v3/cpu"
)

// The first line of proc/stat in the procfs capture, since boot: 1 minus idle
// and iowait over the sum, 9 400 890 ticks (computed with R).
func TestHostCapturedBusyRatio(t *testing.T) {
	times, err := cpuTimes(capture(t, "proc/stat").context())
	if err != nil {
		t.Fatal(err)
	}
	if busy, ok := busyRatio(cpu.TimesStat{}, times); !ok || math.Abs(busy-0.0444994037799) > 1e-13 {
		t.Errorf("busy %.13f, want 0.0444994037799", busy)
	}
}

// Shares and memory from made files, worked by hand.
func TestHostReadsItsRoots(t *testing.T) {
	roots := madeTree(t, map[string]string{
		"proc/stat":    "cpu  100 0 100 800 0 0 0 0 0 0\n",
		"proc/meminfo": "MemTotal:       15666184 kB\nMemFree:          440324 kB\nMemAvailable:   12800000 kB\n",
	})
	offers, _ := NewHost(roots).Scan()
	busy, memory := opened(t, offers[0]), opened(t, offers[1])
	v := []float64{0}
	now := time.Hour
	read := func(p Probe, want float64) {
		t.Helper()
		now += time.Second
		if err := p.Read(now, v); math.IsNaN(want) != (err != nil) || math.Abs(v[0]-want) > 1e-9 || math.IsNaN(v[0]) != math.IsNaN(want) {
			t.Errorf("%v, %v; want %v", v[0], err, want)
		}
	}
	if err := busy.Read(now, v); err != nil || !math.IsNaN(v[0]) {
		t.Errorf("no tick since it was opened: %v, %v; nothing is wrong yet", v[0], err)
	}
	rewrite(t, roots.proc("stat"), "cpu  130 0 100 860 10 0 0 0 0 0\n")
	read(busy, 0.3)
	rewrite(t, roots.proc("stat"), "cpu  x 0 100 860 10 0 0 0 0 0\n")
	read(busy, missing)
	rewrite(t, roots.proc("stat"), "cpu  140 0 100 890 10 0 0 0 0 0\n")
	read(busy, 0.25)
	now += ticksLate
	read(busy, missing) // the clock of the CPUs stands still
	read(memory, 12800000*1024)
	rewrite(t, roots.proc("meminfo"), "")
	read(memory, missing)
}
