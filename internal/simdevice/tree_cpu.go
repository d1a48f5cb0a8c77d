package simdevice

import (
	"fmt"
	"math"
	"strconv"
	"time"
)

const cpuRoot = "sys/devices/system/cpu/"

// cpuFiles show which CPUs are online (admin-guide/cputopology.rst). A CPU that
// goes offline loses its topology and its throttle counters, as on a real kernel.
type cpuFiles struct {
	online, offline *file
	each            []*file // cpuN/online, none for cpu0
	shown           int     // CPUs that the files say are online
}

func newCPUFiles(d *Device, t *tree) part {
	n := d.cfg.CPUs
	f := &cpuFiles{shown: n, each: make([]*file, n)}
	all := cpuRange(0, n)
	t.fixed(cpuRoot+"possible", all)
	t.fixed(cpuRoot+"present", all)
	t.fixed(cpuRoot+"smt/control", "on")
	t.fixed(cpuRoot+"smt/active", "1")
	f.online = t.live(cpuRoot+"online", all)
	f.offline = t.live(cpuRoot+"offline", "\n")
	for i := range n {
		dir := fmt.Sprintf("%scpu%d/", cpuRoot, i)
		core := i / 2
		t.fixed(dir+"topology/core_id", strconv.Itoa(core))
		t.fixed(dir+"topology/physical_package_id", "0")
		siblings := cpuRange(2*core, min(2*core+2, n))
		t.fixed(dir+"topology/thread_siblings_list", siblings)
		t.fixed(dir+"topology/core_cpus_list", siblings)
		if i > 0 {
			f.each[i] = t.live(dir+"online", "1")
		}
	}
	return f
}

// cpuRange writes the CPUs from a up to but not including b as the kernel does.
func cpuRange(a, b int) string {
	switch {
	case a >= b:
		return ""
	case a == b-1:
		return strconv.Itoa(a)
	}
	return fmt.Sprintf("%d-%d", a, b-1)
}

func (f *cpuFiles) flush(d *Device, t *tree) {
	online := d.model.online
	if online == f.shown {
		return
	}
	t.putText(f.online, cpuRange(0, online))
	t.putText(f.offline, cpuRange(online, d.cfg.CPUs))
	for i := min(online, f.shown); i < max(online, f.shown); i++ {
		t.putInt(f.each[i], flag(i < online))
		for _, folder := range [2]string{"topology", "thermal_throttle"} {
			path := fmt.Sprintf("%scpu%d/%s", cpuRoot, i, folder)
			switch {
			case len(t.below(path)) == 0: // left out of this tree
			case i < online:
				t.fail(t.repair(path))
			default:
				t.fail(t.breakFile(path, Removed))
			}
		}
	}
	f.shown = online
}

// cpufreqFiles show the clocks (admin-guide/pm/cpufreq.rst), kHz, one policy for
// each CPU. The policy of an offline CPU cannot be read: here it is empty, where
// the kernel answers EBUSY.
type cpufreqFiles struct{ current []*file }

func newCPUFreqFiles(d *Device, t *tree) part {
	f := &cpufreqFiles{}
	least, most := strconv.Itoa(int(minHz/1000)), strconv.Itoa(int(d.cfg.MaxHz/1000))
	for i := range d.cfg.CPUs {
		policy := fmt.Sprintf("%scpufreq/policy%d", cpuRoot, i)
		for name, text := range map[string]string{
			"affected_cpus": strconv.Itoa(i), "related_cpus": strconv.Itoa(i),
			"cpuinfo_min_freq": least, "cpuinfo_max_freq": most, "cpuinfo_transition_latency": "4294967295",
			"scaling_min_freq": least, "scaling_max_freq": most,
			"scaling_driver": "sim_cpufreq", "scaling_governor": "schedutil",
			"scaling_available_governors":              "performance schedutil powersave",
			"energy_performance_preference":            "balance_performance",
			"energy_performance_available_preferences": "default performance balance_performance balance_power power",
			"scaling_setspeed":                         "<unsupported>",
		} {
			t.fixed(policy+"/"+name, text)
		}
		f.current = append(f.current, t.live(policy+"/scaling_cur_freq", "0"))
		t.link(fmt.Sprintf("%scpu%d/cpufreq", cpuRoot, i), policy)
	}
	return f
}

func (f *cpufreqFiles) flush(d *Device, t *tree) {
	m := d.model
	threads := 0
	if m.play != nil {
		threads = m.play.workload.Threads
	}
	for i, file := range f.current {
		switch {
		case i >= m.online:
			t.put(file, nil)
		case i < threads || m.background > 0:
			t.putInt(file, int64(m.hertz/1000))
		default:
			t.putInt(file, int64(minHz/1000))
		}
	}
}

// throttleFiles count thermal throttling (arch/x86/kernel/cpu/mce/therm_throt.c).
// Every CPU of the package repeats the package's numbers.
type throttleFiles struct {
	seen  uint64
	total time.Duration
	sets  [][4]*file // core and package count, total and longest time
}

func newThrottleFiles(d *Device, t *tree) part {
	f := &throttleFiles{}
	for i := range d.cfg.CPUs {
		dir := fmt.Sprintf("%scpu%d/thermal_throttle/", cpuRoot, i)
		f.sets = append(f.sets, [4]*file{
			t.live(dir+"core_throttle_count", "0"), t.live(dir+"package_throttle_count", "0"),
			t.live(dir+"package_throttle_total_time_ms", "0"), t.live(dir+"package_throttle_max_time_ms", "0"),
		})
	}
	return f
}

func (f *throttleFiles) flush(d *Device, t *tree) {
	h := &d.model.hot
	if h.events == f.seen && h.total == f.total {
		return
	}
	f.seen, f.total = h.events, h.total
	for _, s := range f.sets {
		t.putInt(s[0], int64(h.events))
		t.putInt(s[1], int64(h.events))
		t.putInt(s[2], h.total.Milliseconds())
		t.putInt(s[3], h.most.Milliseconds())
	}
}

// mega is a clock in MHz.
func mega(hertz float64) int64 { return int64(math.Round(hertz / 1e6)) }
