package collectors

import (
	"errors"
	"io/fs"
	"math"
	"os"
	"strings"
	"testing"
	"time"
)

// fileTree has something for each collector of kernel files in this list.
func fileTree(t testing.TB) (Roots, []Collector) {
	files := gpuTree(map[string]string{
		"sys/class/hwmon/hwmon0/name": "board", "sys/class/hwmon/hwmon0/temp1_input": "43850", "sys/class/hwmon/hwmon0/temp1_fault": "0",
		"sys/class/hwmon/hwmon0/fan1_input": "3120", "sys/class/hwmon/hwmon0/energy1_input": "1000",
		"sys/class/thermal/thermal_zone0/type": "soc", "sys/class/thermal/thermal_zone0/temp": "37000",
		card + "hwmon/hwmon5/freq1_input": "", card + "power/control": "auto", card + "power/runtime_status": "active",
		"sys/devices/system/cpu/online":                                       "0-5",
		"sys/devices/system/cpu/cpufreq/policy0/scaling_cur_freq":             "1219917",
		"sys/devices/system/cpu/cpu0/thermal_throttle/core_throttle_count":    "1",
		"sys/devices/system/cpu/cpu0/thermal_throttle/package_throttle_count": "2",
		"proc/pressure/cpu": "some avg10=0.10 avg60=2.00 avg300=3.85 total=15\n",
	})
	roots := madeTree(t, files)
	return roots, []Collector{NewHwmon(roots), NewThermal(roots), NewDRM(roots), NewCPUFreq(roots), NewCPUs(roots), NewThrottle(roots), NewPressure(roots)}
}

func TestFileProbesDoNotAllocate(t *testing.T) {
	_, collectors := fileTree(t)
	for _, c := range collectors {
		offers, _ := c.Scan()
		if len(offers) == 0 {
			t.Errorf("%s finds nothing in its tree", c.Name())
		}
		for _, o := range offers {
			p, dst := opened(t, o), []float64{0}
			var err error
			if n := testing.AllocsPerRun(50, func() { err = p.Read(time.Second, dst) }); n != 0 || err != nil || math.IsNaN(dst[0]) {
				t.Errorf("%s %s: %v allocations a read, value %v, error %v", o.Sensors[0].ID, o.Sensors[0].Instance, n, dst[0], err)
			}
		}
	}
}

// Whatever happens to a file under an open probe, the reading is missing and
// the error names the file, is the same one while nothing changes, and costs
// nothing to return; a good value heals it.
func TestFileProbesBadContent(t *testing.T) {
	_, collectors := fileTree(t)
	for _, c := range collectors {
		offers, _ := c.Scan()
		for _, o := range offers {
			p, dst := opened(t, o), []float64{0}
			path := strings.ReplaceAll(o.Sensors[0].Source, "cpu*", "cpu0")
			good, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			for _, bad := range []string{"", "\n", "<unknown>\n", "-\n", "1e3\n", "\x00\x00\x00", strings.Repeat("9", 30), strings.Repeat("0: 1Mhz\n", 1<<17)} {
				rewrite(t, path, bad)
				first := p.Read(time.Second, dst)
				var readError *ReadError
				if !errors.As(first, &readError) || readError.Path != path || !math.IsNaN(dst[0]) {
					t.Errorf("%s with %.20q: %v, error %v", path, bad, dst[0], first)
					continue
				}
				var again error
				if n := testing.AllocsPerRun(5, func() { again = p.Read(time.Second, dst) }); n != 0 || again != first {
					t.Errorf("%s with %.20q: %v allocations for an error that stays, %v then %v", path, bad, n, first, again)
				}
			}
			rewrite(t, path, string(good))
			if err := p.Read(2*time.Second, dst); err != nil || math.IsNaN(dst[0]) {
				t.Errorf("%s healed: %v, error %v", path, dst[0], err)
			}
		}
	}
}

// A file whose read the kernel refuses, with EIO here as /proc/self/mem at
// offset 0 does; ENODATA, ENODEV and EAGAIN come the same way.
func TestFileProbesRefusedRead(t *testing.T) {
	roots, _ := fileTree(t)
	path := roots.sys("class", "hwmon", "hwmon0", "temp1_input")
	if err := os.Remove(path); err != nil {
		t.Fatal(err)
	}
	if err := os.Symlink("/proc/self/mem", path); err != nil {
		t.Fatal(err)
	}
	r := readings(t, NewHwmon(roots))["temperature_celsius board/temp1"]
	var readError *ReadError
	if !errors.As(r.err, &readError) || readError.Err == nil || !math.IsNaN(r.value) {
		t.Errorf("%v, error %v", r.value, r.err)
	}
}

func TestFileProbesGoneBeforeOpen(t *testing.T) {
	roots, collectors := fileTree(t)
	for _, c := range collectors {
		offers, _ := c.Scan()
		if err := os.Rename(roots.Sys, roots.Sys+".gone"); err != nil {
			t.Fatal(err)
		}
		if err := os.Rename(roots.Proc, roots.Proc+".gone"); err != nil {
			t.Fatal(err)
		}
		for _, o := range offers {
			if p, err := o.Open(); !errors.Is(err, fs.ErrNotExist) || p != nil {
				t.Errorf("%s %s: opened %v, error %v", o.Sensors[0].ID, o.Sensors[0].Instance, p, err)
			}
		}
		if err := errors.Join(os.Rename(roots.Sys+".gone", roots.Sys), os.Rename(roots.Proc+".gone", roots.Proc)); err != nil {
			t.Fatal(err)
		}
	}
}

func BenchmarkScan(b *testing.B) {
	_, collectors := fileTree(b)
	for _, c := range collectors {
		b.Run(c.Name(), func(b *testing.B) {
			for b.Loop() {
				c.Scan()
			}
		})
	}
}
