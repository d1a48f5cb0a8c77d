package simdevice

import (
	"fmt"
	"strconv"
	"strings"
	"time"
)

// upBefore is how long the device had been up when its clock started.
const upBefore = time.Hour

// procFiles are the files of proc that change (filesystems/proc.rst).
type procFiles struct{ stat, load, uptime, memory, psi *file }

func newProcFiles(d *Device, t *tree) part {
	f := &procFiles{
		stat:   t.live("proc/stat", ""),
		load:   t.live("proc/loadavg", ""),
		uptime: t.live("proc/uptime", ""),
		memory: t.live("proc/meminfo", ""),
	}
	if d.cfg.Without&PartPressure == 0 {
		f.psi = t.live("proc/pressure/cpu", "")
		const calm = " avg10=0.00 avg60=0.00 avg300=0.00 total="
		t.fixed("proc/pressure/memory", "some"+calm+"0\nfull"+calm+"0")
		t.fixed("proc/pressure/io", "some"+calm+"81234\nfull"+calm+"70211")
	}
	t.fixed("proc/cpuinfo", cpuInfo(d.cfg.CPUs, d.cfg.MaxHz))
	t.fixed("proc/version", "Linux version 6.12.0-sim (build@sim) #1 SMP")
	t.fixed("proc/sys/kernel/ostype", "Linux")
	t.fixed("proc/sys/kernel/osrelease", "6.12.0-sim")
	t.fixed("proc/sys/kernel/hostname", d.cfg.Name)
	t.fixed("proc/sys/kernel/random/boot_id", fmt.Sprintf("00000000-0000-4000-9000-%012x", d.cfg.Seed))
	return f
}

// cpuInfo is proc/cpuinfo of an invented processor with two threads a core.
func cpuInfo(cpus int, maxHz float64) string {
	var b strings.Builder
	for i := range cpus {
		fmt.Fprintf(&b, "processor\t: %d\nvendor_id\t: ExampleWorks\ncpu family\t: 1\nmodel\t\t: 1\n"+
			"model name\t: Example Processor %d\nstepping\t: 1\ncpu MHz\t\t: %.3f\ncache size\t: 1024 KB\n"+
			"physical id\t: 0\nsiblings\t: %d\ncore id\t\t: %d\ncpu cores\t: %d\nflags\t\t: fpu\n\n",
			i, cpus, maxHz/1e6, cpus, i/2, (cpus+1)/2)
	}
	return b.String()
}

func (f *procFiles) flush(d *Device, t *tree) {
	c := &d.model.cpu
	t.scratch = d.appendStat(t.scratch[:0])
	t.put(f.stat, t.scratch)

	text := t.scratch[:0]
	for _, v := range c.load {
		text = append(strconv.AppendFloat(text, v, 'f', 2, 64), ' ')
	}
	text = append(strconv.AppendInt(text, 1+int64(c.running), 10), "/212 4343\n"...)
	t.scratch = text
	t.put(f.load, text)

	idle := 0.0
	for _, s := range c.idle {
		idle += s
	}
	text = strconv.AppendFloat(t.scratch[:0], (upBefore + d.model.now).Seconds(), 'f', 2, 64)
	text = append(strconv.AppendFloat(append(text, ' '), idle, 'f', 2, 64), '\n')
	t.scratch = text
	t.put(f.uptime, text)

	t.scratch = c.stall.appendLines(t.scratch[:0])
	t.put(f.psi, t.scratch)
	if d.model.play != nil {
		t.putText(f.memory, memoryBusy)
	} else {
		t.putText(f.memory, memoryIdle)
	}
}

// appendStat writes proc/stat: ticks of 1/100 s.
func (d *Device) appendStat(text []byte) []byte {
	c := &d.model.cpu
	line := func(text []byte, name string, user, system, idle float64) []byte {
		text = append(text, name...)
		text = append(strconv.AppendInt(append(text, ' '), int64(user*100), 10), " 0 "...)
		text = append(strconv.AppendInt(text, int64(system*100), 10), ' ')
		return append(strconv.AppendInt(text, int64(idle*100), 10), " 0 0 0 0 0 0\n"...)
	}
	user, system, idle := 0.0, 0.0, 0.0
	for i := range c.user {
		user, system, idle = user+c.user[i], system+c.system[i], idle+c.idle[i]
	}
	text = line(text, "cpu ", user, system, idle) // two spaces, as the kernel writes
	for i := range d.model.online {
		text = line(text, cpuNames[i], c.user[i], c.system[i], c.idle[i])
	}
	number := func(text []byte, name string, v int64) []byte {
		return append(strconv.AppendInt(append(text, name...), v, 10), '\n')
	}
	text = number(text, "intr ", int64(c.interrupts))
	text = number(text, "ctxt ", int64(c.contextSwitches))
	text = number(text, "btime ", d.start.Add(-upBefore).Unix())
	text = number(text, "processes ", 4343)
	text = number(text, "procs_running ", 1+int64(c.running))
	return number(text, "procs_blocked ", 0)
}

var cpuNames = func() (names [64]string) {
	for i := range names {
		names[i] = "cpu" + strconv.Itoa(i)
	}
	return names
}()

// appendLines writes the text of proc/pressure/cpu (accounting/psi.rst).
func (p *pressure) appendLines(text []byte) []byte {
	text = append(text, "some"...)
	for i, name := range [3]string{" avg10=", " avg60=", " avg300="} {
		text = strconv.AppendFloat(append(text, name...), p.avg[i], 'f', 2, 64)
	}
	text = strconv.AppendInt(append(text, " total="...), int64(p.seconds*1e6), 10)
	return append(text, "\nfull avg10=0.00 avg60=0.00 avg300=0.00 total=0\n"...)
}

// Texts of proc/meminfo, without the last line feed.
var (
	memoryIdle = memInfo(13107200)
	memoryBusy = memInfo(8912896)
)

func memInfo(availableKB int) string {
	const totalKB = 16252928
	return fmt.Sprintf("MemTotal:       %8d kB\nMemFree:        %8d kB\nMemAvailable:   %8d kB\nBuffers:           65536 kB\n"+
		"Cached:          1048576 kB\nSwapCached:            0 kB\nActive:          2097152 kB\nInactive:        1048576 kB\n"+
		"SwapTotal:             0 kB\nSwapFree:              0 kB\nShmem:            131072 kB\nSlab:             262144 kB\n"+
		"SReclaimable:     131072 kB\nSUnreclaim:       131072 kB", totalKB, availableKB-1048576, availableKB)
}
