package collectors

import (
	"fmt"
	"io/fs"
	"math"
	"path/filepath"
	"time"

	"sweepd/run"
)

// throttle counts how often the CPUs entered thermal throttling since boot:
// devices/system/cpu/cpuN/thermal_throttle/{core,package}_throttle_count
// (arch/x86/kernel/cpu/mce/therm_throt.c). Each logical CPU has its files, so
// the threads of a core repeat the core's events and the CPUs of a package
// those of the package: the greatest count of a core or package is its count,
// and the sensor is the sum over cores, or packages.
type throttle struct{ roots Roots }

// NewThrottle finds the counters of thermal throttling.
func NewThrottle(roots Roots) Collector { return throttle{roots} }

func (throttle) Name() string { return "throttle" }

const throttleInterval = time.Second

func (t throttle) Scan() (offers []Offer, absences []Absence) {
	cpus := t.roots.sys("devices", "system", "cpu")
	names := numbered(cpus, "cpu")
	for _, scope := range []string{"core", "package"} {
		file := filepath.Join("thermal_throttle", scope+"_throttle_count")
		pattern := filepath.Join(cpus, "cpu*", file)
		found := false
		for _, name := range names {
			if found = exists(cpus, name, file); found {
				break
			}
		}
		if !found {
			absences = append(absences, Absence{Collector: t.Name(), Source: pattern,
				Why: "this kind of processor has no such counter, or the machine is virtual"})
			continue
		}
		offers = append(offers, Offer{
			Sensors: []run.Sensor{{ID: run.ThrottleEvents, Instance: scope, Kind: run.Counter,
				Source: pattern, Resolution: 1}},
			MinInterval: throttleInterval,
			Open:        func() (Probe, error) { return openThrottleCount(cpus, file, scope == "core") },
		})
	}
	return offers, absences
}

// throttleCount adds up the counts of cores or packages.
type throttleCount struct {
	files  []throttleFile
	groups []int64 // the greatest count of each core or package; scratch
	next   time.Duration
}

type throttleFile struct {
	path  string
	group int
	file  *sysFile // nil while the CPU is offline: the kernel takes its files away
	count int64    // the last one read, which a CPU that goes offline keeps; -1 before
}

// reopenAfter is the time between two attempts to open the files of CPUs that
// are offline.
const reopenAfter = 10 * time.Second

func openThrottleCount(cpus, file string, byCore bool) (Probe, error) {
	p := &throttleCount{}
	groups := map[string]int{}
	for _, name := range numbered(cpus, "cpu") {
		topology := filepath.Join(cpus, name, "topology")
		key := staticText(topology, "physical_package_id")
		if byCore {
			key = fmt.Sprintf("%s/%s", key, staticText(topology, "core_id"))
			if key == "/" { // offline, or a kernel without topology
				key = name
			}
		}
		group, known := groups[key]
		if !known {
			group = len(groups)
			groups[key] = group
		}
		p.files = append(p.files, throttleFile{path: filepath.Join(cpus, name, file), group: group, count: -1})
	}
	p.groups = make([]int64, len(groups))
	if err := p.reopen(); err != nil {
		return nil, err
	}
	return p, nil
}

// reopen opens what is not open. It fails where nothing is open after it.
func (p *throttleCount) reopen() error {
	var first error
	open := 0
	for i := range p.files {
		f := &p.files[i]
		if f.file == nil {
			var err error
			if f.file, err = openSysFile(f.path); err != nil {
				f.file = nil
				if first == nil {
					first = err
				}
				continue
			}
		}
		open++
	}
	if open > 0 {
		return nil
	}
	if first == nil {
		first = fs.ErrNotExist
	}
	return fmt.Errorf("open the throttle counters: %w", first)
}

func (p *throttleCount) Read(now time.Duration, dst []float64) error {
	if now >= p.next {
		p.next = now + reopenAfter
		_ = p.reopen() // what stays closed keeps its last count
	}
	clear(p.groups)
	var first error
	anyCount := false
	for i := range p.files {
		f := &p.files[i]
		if err := f.read(); err != nil && first == nil {
			first = err
		}
		if f.count >= 0 {
			anyCount = true
			p.groups[f.group] = max(p.groups[f.group], f.count)
		}
	}
	dst[0] = math.NaN()
	if first != nil || !anyCount {
		return first
	}
	var sum int64
	for _, count := range p.groups {
		sum += count
	}
	dst[0] = float64(sum)
	return nil
}

var throttleLimits = limits{scale: 1, high: anyInteger, want: "a whole number of events"}

func (f *throttleFile) read() error {
	if f.file == nil {
		return nil
	}
	count, err := throttleLimits.read(f.file)
	if err == nil {
		f.count = count
		return nil
	}
	if !vanished(err) {
		return err
	}
	_ = f.file.Close() // the file is gone already
	f.file = nil
	return nil
}

func (p *throttleCount) Close() error {
	var first error
	for i := range p.files {
		if f := p.files[i].file; f != nil {
			if err := f.Close(); first == nil {
				first = err
			}
			p.files[i].file = nil
		}
	}
	return first
}
