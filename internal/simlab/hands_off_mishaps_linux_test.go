package simlab_test

import (
	"math/rand/v2"
	"path/filepath"
	"slices"
	"syscall"
	"time"

	"sweepd/internal/simdevice"
)

// mishaps are all kinds of what goes wrong on a day.
func (w *world) mishaps() []mishap {
	d := w.device
	plant := func(path string, f simdevice.Fault) func() {
		return func() { w.check(d.Plant(path, f)) }
	}
	forAWhile := func(d time.Duration, begin, end func()) func() {
		return func() {
			begin()
			time.Sleep(d)
			end()
		}
	}
	mend := func(path string) func() { return func() { w.check(d.Mend(path)) } }
	repair := func() { w.check(d.Repair(dieSensor)) }
	const soon, late = 5 * time.Second, 15 * time.Second
	return []mishap{
		{name: "the limit lies", at: soon, does: plant(sustainedLimit, simdevice.Fault{Lies: true, Times: 1})},
		{name: "the limit does not take what is written", tells: `it was not obeyed`, at: soon, does: plant(sustainedLimit, simdevice.Fault{Keeps: true, Times: 2})},
		{name: "the limit reads back as another", tells: `reads "13": it was not obeyed`, at: soon, does: plant(fastLimit, simdevice.Fault{Shows: "13", Times: 1})},
		{name: "EBUSY for a moment", at: soon, does: plant(sustainedLimit, simdevice.Fault{Errno: syscall.EBUSY, Times: 2})},
		{name: "EBUSY for long", tells: `device or resource busy`, at: soon, does: plant(lastCPU, simdevice.Fault{Errno: syscall.EBUSY, Times: 8})},
		{name: "EINVAL", tells: `invalid argument`, at: soon, does: plant(sustainedLimit, simdevice.Fault{Errno: syscall.EINVAL, Times: 1})},
		{name: "EACCES", tells: `permission denied`, at: soon, does: plant(fastLimit, simdevice.Fault{Errno: syscall.EACCES, Times: 2})},
		{name: "a write hangs", tells: `does not answer`, at: soon, does: forAWhile(3*time.Minute, plant(sustainedLimit, simdevice.Fault{Hangs: true, Times: 1}), mend(sustainedLimit))},
		{name: "a limit cannot be read", tells: `reads "nothing" at the end|cannot be put back`, at: soon, does: forAWhile(time.Minute, plant(fastLimit, simdevice.Fault{Unread: syscall.EIO}), mend(fastLimit))},
		{name: "the limit goes back by itself", tells: `the setting did not stay`, at: late, does: d.RevertLimit},
		{name: "the limit goes back after a suspend", tells: `suspend`, at: late, does: func() { w.suspend(time.Minute) }},
		{name: "the thermometer dies", tells: `a guard trips .sensor.`, at: late, does: forAWhile(20*time.Second, func() { w.check(d.BreakFile(dieSensor, simdevice.Removed)) }, repair)},
		{name: "the thermometer stays", at: late, does: forAWhile(2*time.Minute, func() { w.check(d.BreakFile(dieSensor, simdevice.Frozen)) }, repair)},
		{name: "the thermometer jumps", tells: `a guard trips .temperature.`, at: late, does: forAWhile(3*time.Second, func() { w.check(d.Mislead(dieSensor, "150000")) }, repair)},
		{name: "the processor gets too hot", tells: `a guard trips .temperature.`, at: late, does: func() { d.HeatTo(108) }},
		{name: "the workload hangs", tells: `does not count: the runner did not end it in time`, hangs: true},
		{name: "the workload fails", tells: `does not count: the command ended with exit status 3`, fails: true},
		{name: "the workload prints no result", tells: `does not count: result fps_mean`, noResult: true},
		{name: "the workload leaves children", tells: `processes that outlived the command were ended`, children: true},
		{name: "the runner is killed", tells: `the runner was not heard of`, at: late, killed: true},
		{name: "the disk is full", tells: `no space left on device`, at: late, does: forAWhile(40*time.Second, func() { w.full.Store(true) }, func() { w.full.Store(false) })},
		{name: "the clock is set forward", at: late, does: func() { w.clockBy.Add(int64(20 * time.Minute)) }},
		{name: "the clock is set back", at: late, does: func() { w.clockBy.Add(-int64(2 * time.Minute)) }},
		{name: "the agent is killed", tells: `the agent was started anew`, at: late + 7*time.Millisecond, does: func() { w.kill(func() {}) }},
		{name: "the agent is killed while it sets", tells: `the agent was started anew`, at: w.options.plays + 3*time.Second + 7*time.Millisecond, does: func() { w.kill(func() {}) }},
		{name: "the power is cut", tells: `the agent was started anew`, at: late + 7*time.Millisecond, does: func() {
			w.kill(func() { w.check(d.SetCPUsOnline(d.Config().CPUs)); d.RevertLimit() })
		}},
		{name: "the charger is pulled", tells: `a guard trips .supply.`, at: late, does: func() { w.does("unplug") }},
	}
}

func (w *world) check(err error) {
	if err != nil {
		w.t.Error(err)
	}
}

// plantAtRandom has so many things go wrong in a day of so many runs, each kind at most once
// more often than another, at moments that a seed draws.
func (w *world) plantAtRandom(n, runs int, seed uint64) {
	random := rand.New(rand.NewPCG(seed, 0xfa17))
	kinds := w.mishaps()
	random.Shuffle(len(kinds), func(i, j int) { kinds[i], kinds[j] = kinds[j], kinds[i] })
	at := random.Perm(runs)[:n]
	slices.Sort(at)
	planted := map[int]mishap{}
	for i, job := range at {
		planted[1+job] = kinds[i%len(kinds)]
	}
	w.happens = func(job int) mishap { return planted[job] }
}

// settings are what every place reads that a day may set, or change by setting.
func (w *world) settings() map[string]string {
	found := map[string]string{}
	for _, pattern := range []string{"class/firmware-attributes/*/attributes/*/current_value", "class/powercap/*/constraint_*_power_limit_uw",
		"class/hwmon/*/power1_cap", "firmware/acpi/platform_profile", "devices/system/cpu/cpu*/online", "devices/system/cpu/cpufreq/*/scaling_governor",
		"devices/system/cpu/cpufreq/*/energy_performance_preference", "devices/system/cpu/online"} {
		paths, err := filepath.Glob(filepath.Join(w.device.SysRoot(), pattern))
		w.check(err)
		for _, path := range paths {
			text, err := w.device.Get(path)
			w.check(err)
			found[path] = text
		}
	}
	return found
}
