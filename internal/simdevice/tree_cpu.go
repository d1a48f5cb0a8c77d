package simdevice

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"syscall"
)

const cpuRoot = "sys/devices/system/cpu/"

// addCPUs adds which CPUs are there and online (admin-guide/cputopology.rst).
func addCPUs(d *Device, t *tree) {
	n := d.cfg.CPUs
	m := d.model
	d.shownCPUs = slices.Clone(m.up)
	t.fixed(cpuRoot+"possible", cpuRange(0, n))
	t.fixed(cpuRoot+"present", cpuRange(0, n))
	t.fixed(cpuRoot+"smt/control", "on")
	t.fixed(cpuRoot+"smt/active", "1")
	t.word(cpuRoot+"online", func() string { return cpuList(m.up, true) })
	t.word(cpuRoot+"offline", func() string { return cpuList(m.up, false) })
	for i := range n {
		dir := fmt.Sprintf("%scpu%d/", cpuRoot, i)
		core := i / 2
		t.fixed(dir+"topology/core_id", strconv.Itoa(core))
		t.fixed(dir+"topology/physical_package_id", "0")
		siblings := cpuRange(2*core, min(2*core+2, n))
		t.fixed(dir+"topology/thread_siblings_list", siblings)
		t.fixed(dir+"topology/core_cpus_list", siblings)
		if i > 0 { // the first cannot go offline
			t.number(dir+"online", func() int64 { return flag(m.up[i]) }).setting(func(text string) error {
				if text != "0" && text != "1" {
					return syscall.EINVAL
				}
				m.up[i] = text == "1"
				m.countOnline()
				return nil
			}).rare = true
		}
	}
}

// countOnline works out what follows from which CPUs are online.
func (m *model) countOnline() {
	m.online = 0
	for _, up := range m.up {
		if up {
			m.online++
		}
	}
	m.setParallel()
	m.settle()
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

// cpuList writes which CPUs are up, or are not, as the kernel does: "0-3,6".
func cpuList(up []bool, want bool) string {
	var ranges []string
	for i := 0; i < len(up); i++ {
		from := i
		for i < len(up) && up[i] == want {
			i++
		}
		if i > from {
			ranges = append(ranges, cpuRange(from, i))
		}
	}
	return strings.Join(ranges, ",")
}

// switchCPUs takes away the topology and the throttle counters of CPUs that went
// offline, as a real kernel does, and brings back those of CPUs that came online.
func (d *Device) switchCPUs() {
	t := d.tree
	for i, up := range d.model.up {
		if up == d.shownCPUs[i] {
			continue
		}
		d.shownCPUs[i] = up
		for _, folder := range [2]string{"topology", "thermal_throttle"} {
			path := fmt.Sprintf("%scpu%d/%s", cpuRoot, i, folder)
			switch {
			case len(t.below(path)) == 0: // left out of this tree
			case up:
				t.fail(t.repair(path))
			default:
				t.fail(t.breakFile(path, Removed))
			}
		}
	}
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
			"scaling_driver":                           "sim_cpufreq",
			"scaling_available_governors":              strings.Join(governors, " "),
			"energy_performance_available_preferences": strings.Join(preferences, " "),
			"scaling_setspeed":                         "<unsupported>",
		} {
			t.fixed(policy+"/"+name, text)
		}
		t.text(policy+"/scaling_cur_freq", func(text []byte) []byte {
			if !m.up[i] {
				return text
			}
			return append(strconv.AppendInt(text, int64(m.cpuHertz(i)/1000), 10), '\n')
		}).busy = func() bool { return !m.up[i] }
		d.addChoice(policy+"/scaling_governor", i, governors, func() string { return m.governors[i] }, func(text string) error {
			m.governors[i] = text
			return nil
		})
		d.addChoice(policy+"/energy_performance_preference", i, preferences, func() string {
			if m.governors[i] == performance {
				return performance
			}
			return m.preferences[i]
		}, func(text string) error {
			if m.governors[i] == performance && text != performance {
				return syscall.EBUSY
			}
			m.preferences[i] = text
			return nil
		})
		t.link(fmt.Sprintf("%scpu%d/cpufreq", cpuRoot, i), policy)
	}
}

// The governors and energy preferences of every device. They are taken and shown, and the
// physics does not know of them.
var (
	governors   = []string{performance, defaultGovernor, "powersave"}
	preferences = []string{"default", performance, defaultPreference, "balance_power", "power"}
)

const (
	performance       = "performance"
	defaultGovernor   = "schedutil"
	defaultPreference = "balance_performance"
)

// addChoice adds a word of a CPU's policy that can be set. While the CPU is offline the
// kernel answers EBUSY; the preference is fixed by the governor performance, which
// answers EBUSY, too (admin-guide/pm/intel_pstate.rst, from memory).
func (d *Device) addChoice(path string, cpu int, choices []string, value func() string, set func(text string) error) {
	offline := func() bool { return !d.model.up[cpu] }
	f := d.tree.text(path, func(text []byte) []byte {
		if offline() {
			return text
		}
		return append(append(text, value()...), '\n')
	}).setting(func(text string) error {
		switch {
		case offline():
			return syscall.EBUSY
		case !slices.Contains(choices, text):
			return syscall.EINVAL
		}
		return set(text)
	})
	f.busy, f.rare = offline, true
}

// cpuHertz is the clock of an online CPU: those without work are at their lowest.
func (m *model) cpuHertz(i int) float64 {
	before := 0 // online CPUs that get work earlier
	for _, up := range m.up[:i] {
		if up {
			before++
		}
	}
	if m.background > 0 || m.play != nil && before < m.play.workload.Threads {
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
