package collectors

import (
	"path/filepath"
	"strings"
	"time"

	"sweepd/run"
)

// cpufreq finds the clock of each frequency domain,
// devices/system/cpu/cpufreq/policyN/scaling_cur_freq in kHz
// (Documentation/admin-guide/pm/cpufreq.rst). A driver that does not know it
// writes <unknown>: a missing reading.
type cpufreq struct{ roots Roots }

// NewCPUFreq finds the CPUs' clocks.
func NewCPUFreq(roots Roots) Collector { return cpufreq{roots} }

func (cpufreq) Name() string { return "cpufreq" }

// cpufreqInterval spares idle CPUs: there is one file for each CPU on many
// machines, and some drivers interrupt the CPU to answer.
const cpufreqInterval = time.Second

func (c cpufreq) Scan() (offers []Offer, absences []Absence) {
	for _, policy := range c.roots.frequencyPolicies() {
		path := filepath.Join(policy.dir, "scaling_cur_freq")
		offers = append(offers, Offer{
			Sensors: []run.Sensor{{ID: run.CPUFrequency, Instance: policy.name, Unit: "hertz", Kind: run.Gauge,
				Source: path, Resolution: 1000}},
			MinInterval: cpufreqInterval,
			Open: openGuarded(guardedSource{inputs: []string{path},
				limits: bound{1000, believedHertz.high, "0 (exclusive) to 20 GHz"}.in(1000, "an integer (kilohertz)")}),
		})
	}
	if len(offers) == 0 {
		absences = append(absences, Absence{Collector: c.Name(),
			Source: c.roots.sys("devices", "system", "cpu", "cpufreq", "policy*", "scaling_cur_freq"),
			Why:    "no such driver; usual in a virtual machine"})
	}
	return offers, absences
}

// frequencyPolicies lists the folders with scaling_cur_freq: policyN, or the
// folder of CPU N where an old kernel has them there.
func (r Roots) frequencyPolicies() []namedFolder {
	cpus := r.sys("devices", "system", "cpu")
	var found []namedFolder
	added := map[string]bool{}
	add := func(name, dir string) {
		if !added[name] && exists(dir, "scaling_cur_freq") {
			added[name] = true
			found = append(found, namedFolder{name: name, dir: dir})
		}
	}
	covered := map[string]bool{}
	for _, policy := range numbered(filepath.Join(cpus, "cpufreq"), "policy") {
		add(policy, filepath.Join(cpus, "cpufreq", policy))
	}
	for _, f := range found {
		if real, err := realPath(f.dir); err == nil {
			covered[real] = true
		}
	}
	for _, cpu := range numbered(cpus, "cpu") {
		dir := filepath.Join(cpus, cpu, "cpufreq")
		if real, err := realPath(dir); err == nil && !covered[real] {
			covered[real] = true
			add("policy"+strings.TrimPrefix(cpu, "cpu"), dir)
		}
	}
	return found
}
