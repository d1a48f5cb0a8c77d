package collectors

import (
	"fmt"
	"regexp"
	"slices"
	"strings"

	"sweepd/run"
)

// meterRail is a channel of a meter that counts.
type meterRail struct {
	path string // of the meter
	at   int    // the channel's number
	of   int    // how many the meter has
	name string
}

// meterDomain is what a channel counts. Drivers say so by the channel's name alone,
// which no document lists: these were seen in public code that reads such meters.
type meterDomain struct {
	name          *regexp.Regexp
	words         string
	energy, power string
}

var meterDomains = []meterDomain{
	packageDomain(`_PKG$`), packageDomain(`^Socket Power$`), packageDomain(`^Current Socket Power$`),
	packageDomain(`^Apu Power$`), packageDomain(`^CPU Power$`),
	{regexp.MustCompile(`(?i)_PP0$`), "the cores", run.CoreEnergy, run.CorePower},
	{regexp.MustCompile(`(?i)_PP1$`), "the graphics", run.GPUEnergy, run.GPUPower},
	{regexp.MustCompile(`(?i)_DRAM$`), "the memory", run.DRAMEnergy, run.DRAMPower},
}

func packageDomain(name string) meterDomain {
	return meterDomain{regexp.MustCompile(`(?i)` + name), "the whole package", run.PackageEnergy, run.PackagePower}
}

func (d meterDomain) names(r meterRail) bool { return d.name.MatchString(r.name) }

// domainsOf are those that names mean on a machine with these rails: of the names
// of the whole package the first one that occurs, for another would tell the same
// energy again (their order is common practice, no source).
func domainsOf(rails []meterRail) (used []meterDomain) {
	packages := 0
	for _, d := range meterDomains {
		if !slices.ContainsFunc(rails, d.names) {
			continue
		}
		if d.energy == run.PackageEnergy {
			packages++
		}
		if d.energy != run.PackageEnergy || packages == 1 {
			used = append(used, d)
		}
	}
	return used
}

// isTotal tells a sum that the display of counters adds up from a channel.
func (r meterRail) isTotal() bool { return strings.EqualFold(r.name, "_Total") }

// source names the rail and, if anything, what it is taken for.
func (r meterRail) source(words string) string {
	source := fmt.Sprintf("%s, channel %q", r.path, r.name)
	if words != "" {
		source += ", by its name " + words
	}
	return source
}

// meterSensors are the two sensors of each rail of a machine: energy and mean
// power. Rails of one name, as of several packages whose meters are alike, carry
// the name of their meter, and that failing their number.
func meterSensors(rails []meterRail) [][2]run.Sensor {
	domains := domainsOf(rails)
	list := make([][2]run.Sensor, len(rails))
	times := map[sensorKey]int{}
	for i, r := range rails {
		list[i] = r.sensors(domains)
		times[keyOf(list[i][0])]++
	}
	for _, distinct := range []func(meterRail, string) string{
		func(r meterRail, name string) string { return deviceName(r.path) + "/" + name },
		func(r meterRail, name string) string { return fmt.Sprintf("%s/%d", name, r.at) },
	} {
		again := map[sensorKey]int{}
		for i, r := range rails {
			if times[keyOf(list[i][0])] > 1 {
				name := distinct(r, list[i][0].Instance)
				list[i][0].Instance, list[i][1].Instance = name, name
			}
			again[keyOf(list[i][0])]++
		}
		times = again
	}
	return list
}

// sensors are the rail's two by its name: X_Package0_PKG is x_package0 of the
// packages.
func (r meterRail) sensors(domains []meterDomain) [2]run.Sensor {
	instance, source := r.name, r.source("")
	if instance == "" {
		instance = fmt.Sprintf("%s/%d", deviceName(r.path), r.at)
	}
	energy, power := run.Energy, run.Power
	if i := slices.IndexFunc(domains, func(d meterDomain) bool { return d.names(r) }); i >= 0 {
		d := domains[i]
		if belongs := d.name.ReplaceAllString(instance, ""); belongs != "" {
			instance = belongs
		}
		instance, source, energy, power = strings.ToLower(instance), r.source(d.words), d.energy, d.power
	}
	return [2]run.Sensor{
		{ID: energy, Instance: instance, Unit: "joules", Kind: run.Counter, Source: source, Resolution: 1e-6},
		{ID: power, Instance: instance, Unit: "watts", Source: source, Resolution: 1e-3},
	}
}
