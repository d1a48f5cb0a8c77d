package actuators

import (
	"errors"
	"fmt"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
)

// policies sets the same name in each frequency domain of the processors,
// devices/system/cpu/cpufreq/policyN (Documentation/admin-guide/pm/cpufreq.rst): the
// governor, or the preference between energy and performance of drivers that have one
// (their documents in the same folder). A domain whose processors are all offline takes
// nothing, and is left out: the kernel keeps the governor it had.
type policies struct {
	tree             tree
	name, file, list string
}

// NewGovernor sets the processors' governor below sysfs; "" means /sys.
func NewGovernor(sys string) Actuator {
	return policies{tree(sys), SetsGovernor, "scaling_governor", "scaling_available_governors"}
}

// NewEnergyPreference sets the processors' energy_performance_preference below sysfs; ""
// means /sys.
func NewEnergyPreference(sys string) Actuator {
	return policies{tree(sys), SetsEnergyPreference, "energy_performance_preference", "energy_performance_available_preferences"}
}

func (p policies) Name() string { return p.name }
func (p policies) Sets() string { return p.name }

func (p policies) choices() (places []choice) {
	cpus := p.tree.path("devices", "system", "cpu")
	var dirs []string
	for _, policy := range numbered(filepath.Join(cpus, "cpufreq"), "policy") {
		dirs = append(dirs, filepath.Join(cpus, "cpufreq", policy))
	}
	if len(dirs) == 0 { // an old kernel
		for _, cpu := range numbered(cpus, "cpu") {
			dirs = append(dirs, filepath.Join(cpus, cpu, "cpufreq"))
		}
	}
	for _, dir := range dirs {
		path := filepath.Join(dir, p.file)
		if now, err := text(path); err == nil && now == "" || errors.Is(err, syscall.EBUSY) {
			continue // all its processors are offline
		}
		if exists(path) {
			places = append(places, choice{path, filepath.Join(dir, p.list)})
		}
	}
	return places
}

func (p policies) Offer() Offer {
	o := newOffer(p)
	places := p.choices()
	if len(places) == 0 {
		o.Missing = "no driver has " + p.tree.path("devices", "system", "cpu", "cpufreq", "policy*", p.file) + "; usual in a virtual machine"
		return o
	}
	offerChoices(&o, places)
	o.Choices = slices.DeleteFunc(o.Choices, p.readsOtherwise)
	return o
}

func (p policies) Writes(v Value, within Limits) ([]Write, error) {
	places := p.choices()
	if len(places) == 0 {
		return nil, errors.New("no driver has " + p.file)
	}
	name := nameOf(v)
	if p.readsOtherwise(name) {
		return nil, fmt.Errorf("%q stands for one of the others, as which it reads then: give that one", name)
	}
	return setChoices(p.name, places, name, within)
}

func (p policies) places() (list []string) {
	for _, c := range p.choices() {
		list = append(list, c.path)
	}
	return list
}

// readsOtherwise tells a name that the place takes and never shows: the preference that a
// driver has by default.
func (p policies) readsOtherwise(name string) bool {
	return p.name == SetsEnergyPreference && name == "default"
}

func fieldsOf(path string) []string { return strings.Fields(textOr(path)) }
