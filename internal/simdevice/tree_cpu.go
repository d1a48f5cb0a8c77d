package simdevice

import (
	"fmt"
	"math"
	"strconv"
)

const cpuRoot = "sys/devices/system/cpu/"

// addCPUs adds which CPUs are there and online (admin-guide/cputopology.rst).
func addCPUs(d *Device, t *tree) {
	n := d.cfg.CPUs
	d.shownCPUs = n
	t.fixed(cpuRoot+"possible", cpuRange(0, n))
	t.fixed(cpuRoot+"present", cpuRange(0, n))
	t.fixed(cpuRoot+"smt/control", "on")
	t.fixed(cpuRoot+"smt/active", "1")
	t.word(cpuRoot+"online", func() string { return cpuRange(0, d.model.online) })
	t.word(cpuRoot+"offline", func() string { return cpuRange(d.model.online, n) })
	for i := range n {
		dir := fmt.Sprintf("%scpu%d/", cpuRoot, i)
		core := i / 2
		t.fixed(dir+"topology/core_id", strconv.Itoa(core))
		t.fixed(dir+"topology/physical_package_id", "0")
		siblings := cpuRange(2*core, min(2*core+2, n))
		t.fixed(dir+"topology/thread_siblings_list", siblings)
		t.fixed(dir+"topology/core_cpus_list", siblings)
		if i > 0 { // the first cannot go offline
			t.number(dir+"online", func() int64 { return flag(i < d.model.online) })
		}
	}
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

// switchCPUs takes away the topology and the throttle counters of CPUs that went
// offline, as a real kernel does, and brings back those of CPUs that came online.
func (d *Device) switchCPUs() {
	t, online := d.tree, d.model.online
	for i := min(online, d.shownCPUs); i < max(online, d.shownCPUs); i++ {
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
	d.shownCPUs = online
}

// addCPUFreq adds the clocks (admin-guide/pm/cpufreq.rst), kHz, one policy for
// each CPU. The policy of an offline CPU cannot be read: here it is empty, where
// the kernel answers EBUSY.
func addCPUFreq(d *Device, t *tree) {
	m := d.model
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
		t.text(policy+"/scaling_cur_freq", func(text []byte) []byte {
			if i >= m.online {
				return text
			}
			return append(strconv.AppendInt(text, int64(m.cpuHertz(i)/1000), 10), '\n')
		})
		t.link(fmt.Sprintf("%scpu%d/cpufreq", cpuRoot, i), policy)
	}
}

// cpuHertz is the clock of an online CPU: those without work are at their lowest.
func (m *model) cpuHertz(i int) float64 {
	if m.background > 0 || m.play != nil && i < m.play.workload.Threads {
		return m.hertz
	}
	return minHz
}

// addThrottleCounts adds the counts of thermal throttling
// (arch/x86/kernel/cpu/mce/therm_throt.c). Every CPU of the package repeats the
// package's numbers.
func addThrottleCounts(d *Device, t *tree) {
	hot := &d.model.hot
	events := func() int64 { return int64(hot.events) }
	for i := range d.cfg.CPUs {
		dir := fmt.Sprintf("%scpu%d/thermal_throttle/", cpuRoot, i)
		t.number(dir+"core_throttle_count", events)
		t.number(dir+"package_throttle_count", events)
		t.number(dir+"package_throttle_total_time_ms", func() int64 { return hot.total.Milliseconds() })
		t.number(dir+"package_throttle_max_time_ms", func() int64 { return hot.most.Milliseconds() })
	}
}

// mega is a clock in MHz.
func mega(hertz float64) int64 { return int64(math.Round(hertz / 1e6)) }
