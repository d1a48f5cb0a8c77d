package simdevice

import (
	"fmt"
	"strconv"
	"strings"
	"time"
)

// upBefore is how long the device had been up when its clock started.
const upBefore = time.Hour

// addProc adds the files of proc (filesystems/proc.rst).
func addProc(d *Device, t *tree) {
	c := &d.model.cpu
	t.text("proc/stat", d.appendStat)
	t.text("proc/loadavg", c.appendLoad)
	t.text("proc/uptime", func(text []byte) []byte {
		text = strconv.AppendFloat(text, (upBefore + d.model.now).Seconds(), 'f', 2, 64)
		return append(strconv.AppendFloat(append(text, ' '), sum(c.idle), 'f', 2, 64), '\n')
	})
	t.word("proc/meminfo", func() string {
		if d.model.play != nil {
			return memoryBusy
		}
		return memoryIdle
	})
	if d.cfg.Without&PartPressure == 0 {
		t.text("proc/pressure/cpu", c.stall.appendLines)
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

// appendLoad writes proc/loadavg.
func (c *cpuTime) appendLoad(text []byte) []byte {
	for _, v := range c.load {
		text = append(strconv.AppendFloat(text, v, 'f', 2, 64), ' ')
	}
	return append(strconv.AppendInt(text, 1+int64(c.running), 10), "/212 4343\n"...)
}

func sum(list []float64) float64 {
	total := 0.0
	for _, v := range list {
		total += v
	}
	return total
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
	text = line(text, "cpu ", sum(c.user), sum(c.system), sum(c.idle)) // two spaces, as the kernel writes
	for i, up := range d.model.up {
		if !up {
			continue
		}
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
