package collectors

import (
	"math"
	"os"
	"testing"
	"time"
)

// The clocks of the procfs capture. policy1 is an empty folder there and CPU 1
// has a folder of its own, as on old kernels, with the clock <unknown>.
func TestCPUFreqCaptured(t *testing.T) {
	roots := capture(t, "sys/devices/system/cpu")
	wantReadings(t, NewCPUFreq(roots), map[string]float64{
		"cpu_frequency_hertz policy0": 1.219917e9,
		"cpu_frequency_hertz policy1": missing,
	})
}

// CPUs that share a domain link to it; it is one sensor.
func TestCPUFreqSharedDomain(t *testing.T) {
	roots := madeTree(t, map[string]string{
		"sys/devices/system/cpu/cpufreq/policy0/scaling_cur_freq": "1219917",
		"sys/devices/system/cpu/cpu0/cpufreq":                     "-> sys/devices/system/cpu/cpufreq/policy0",
		"sys/devices/system/cpu/cpu1/cpufreq":                     "-> sys/devices/system/cpu/cpufreq/policy0",
	})
	wantReadings(t, NewCPUFreq(roots), map[string]float64{"cpu_frequency_hertz policy0": 1.219917e9})
}

func TestCPUFreqAbsent(t *testing.T) {
	offers, absences := NewCPUFreq(madeTree(t, map[string]string{"sys/devices/system/cpu/cpufreq/policy0/scaling_driver": "x"})).Scan()
	if len(offers) != 0 || len(absences) != 1 {
		t.Errorf("offers %v, absences %v", offers, absences)
	}
}

// Lists after the kernel's Documentation/admin-guide/cputopology.rst; the one of
// 61 CPUs is its example.
func TestCountCPUs(t *testing.T) {
	for _, c := range []struct {
		list string
		n    int64
		ok   bool
	}{
		{"0-1,3", 3, true}, {"2,4-31,32-63", 61, true}, {"0", 1, true}, {"1,2-7,9", 8, true}, {"", 0, true},
		{"0-", 0, false}, {"-3", 0, false}, {"3-1", 0, false}, {"0,", 0, false}, {",0", 0, false}, {"a", 0, false}, {"0-1-2", 0, false},
	} {
		if n, ok := countCPUs([]byte(c.list)); n != c.n && c.ok || ok != c.ok {
			t.Errorf("%q: %d, %v; want %d, %v", c.list, n, ok, c.n, c.ok)
		}
	}
}

func TestCPUsOnline(t *testing.T) {
	online := func(text string) Roots { return madeTree(t, map[string]string{"sys/devices/system/cpu/online": text}) }
	wantReadings(t, NewCPUs(online("0-5\n")), map[string]float64{"cpus_online": 6})
	wantReadings(t, NewCPUs(online("\n")), map[string]float64{"cpus_online": missing})
	wantReadings(t, NewCPUs(online("0-5,x\n")), map[string]float64{"cpus_online": missing})
	if offers, absences := NewCPUs(capture(t, "sys/devices/system/cpu")).Scan(); len(offers) != 0 || len(absences) != 1 {
		t.Errorf("the capture has no online list: offers %v, absences %v", offers, absences)
	}
}

// The counters of the procfs capture: two cores of one package, whose own count
// both repeat.
func TestThrottleCaptured(t *testing.T) {
	wantReadings(t, NewThrottle(capture(t, "sys/devices/system/cpu")), map[string]float64{
		"throttle_events core":    10084 + 523,
		"throttle_events package": 34818,
	})
}

// throttleTree has two packages of two cores with two threads each; CPU c is
// thread c/4 of core c%2 in package (c%4)/2.
func throttleTree(t *testing.T) Roots {
	files := map[string]string{}
	for c, counts := range [][2]string{{"5", "70"}, {"0", "70"}, {"3", "8"}, {"1", "8"}, {"5", "70"}, {"0", "69"}, {"4", "8"}, {"1", "8"}} {
		dir := "sys/devices/system/cpu/cpu" + string(rune('0'+c)) + "/"
		files[dir+"topology/core_id"] = string(rune('0' + c%2))
		files[dir+"topology/physical_package_id"] = string(rune('0' + c%4/2))
		files[dir+"thermal_throttle/core_throttle_count"] = counts[0]
		files[dir+"thermal_throttle/package_throttle_count"] = counts[1]
	}
	return madeTree(t, files)
}

// Threads repeat their core's events, CPUs those of their package.
func TestThrottleThreadsCountOnce(t *testing.T) {
	wantReadings(t, NewThrottle(throttleTree(t)), map[string]float64{
		"throttle_events core":    5 + 0 + 4 + 1,
		"throttle_events package": 70 + 8,
	})
}

// A CPU that is taken offline in mid-run loses its files, not its count: the
// counter must not fall. One that comes back counts on.
func TestThrottleOverHotplug(t *testing.T) {
	roots := throttleTree(t)
	offers, _ := NewThrottle(roots).Scan()
	p := opened(t, offers[0]).(*throttleCount)
	dst := []float64{0}
	read := func(now time.Duration, want float64) {
		t.Helper()
		if err := p.Read(now, dst); err != nil || dst[0] != want {
			t.Fatalf("%v, %v; want %v", dst[0], err, want)
		}
	}
	read(0, 10)
	dir := roots.sys("devices", "system", "cpu", "cpu6", "thermal_throttle")
	if err := os.Rename(dir, dir+".offline"); err != nil {
		t.Fatal(err)
	}
	_ = p.files[6].file.Close() // reads of it fail from now on, as those of a removed kernel file do
	read(time.Second, 10)
	if p.files[6].file != nil {
		t.Fatal("the file of an offline CPU is still held")
	}
	if err := os.Rename(dir+".offline", dir); err != nil {
		t.Fatal(err)
	}
	rewrite(t, dir+"/core_throttle_count", "9")
	read(2*time.Second, 10) // not tried again at once
	read(20*time.Second, 15)
	rewrite(t, dir+"/core_throttle_count", "garbage")
	if err := p.Read(21*time.Second, dst); err == nil || !math.IsNaN(dst[0]) {
		t.Errorf("garbage: %v, %v", dst[0], err)
	}
}

// The stalls of the procfs capture, total=15 µs in each file.
func TestPressureCaptured(t *testing.T) {
	wantReadings(t, NewPressure(capture(t, "proc/pressure")), map[string]float64{
		"pressure_stall_seconds cpu": 15e-6, "pressure_stall_seconds memory": 15e-6, "pressure_stall_seconds io": 15e-6,
	})
}

func TestPressureBadValues(t *testing.T) {
	wantReadings(t, NewPressure(madeTree(t, map[string]string{
		"proc/pressure/cpu":    "",
		"proc/pressure/memory": "full avg10=0.20 avg60=3.00 avg300=4.95 total=25\n",
		"proc/pressure/io":     "some avg10=0.10 avg60=2.00 avg300=3.85 total=\nfull avg10=0.20 total=25\n",
	})), map[string]float64{
		"pressure_stall_seconds cpu": missing, "pressure_stall_seconds memory": missing, "pressure_stall_seconds io": missing,
	})
	if _, absences := NewPressure(madeTree(t, nil)).Scan(); len(absences) != 1 || absences[0].Remedy == "" {
		t.Errorf("absences %+v", absences)
	}
}
