package collectors

import (
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"sweepd/run"
)

// powercap reads the energy counters and power limits of class/powercap, after
// the kernel's Documentation/power/powercap/powercap.rst. Zones lie in one flat
// folder: a control type's name, then the numbers of the zone and its parents,
// in hexadecimal. A sub-zone's energy is part of its parent's; each is a sensor
// of its own, and they are never added up.
type powercap struct{ roots Roots }

// NewPowercap finds energy counters and the package power limit.
func NewPowercap(roots Roots) Collector { return powercap{roots} }

func (powercap) Name() string { return "powercap" }

// energyRemedy: the kernel hides the counters from other users because they
// give away what a processor computes.
const energyRemedy = "give the service the capability CAP_DAC_READ_SEARCH (AmbientCapabilities= in its unit), " +
	`or a group the right to read by the udev rule SUBSYSTEM=="powercap", ACTION=="add", RUN+="/bin/chmod 0440 %S%p/energy_uj", RUN+="/bin/chgrp GROUP %S%p/energy_uj"`

// powercapDomains are the names of zones without their number, and what they
// measure.
var powercapDomains = map[string]struct{ energy, power string }{
	"package": {run.PackageEnergy, run.PackagePower},
	"core":    {run.CoreEnergy, run.CorePower},
	"uncore":  {run.UncoreEnergy, run.UncorePower},
	"dram":    {run.DRAMEnergy, run.DRAMPower},
	"psys":    {run.PlatformEnergy, run.PlatformPower},
}

// powercapZone is a folder of class/powercap.
type powercapZone struct {
	dir    string
	name   string  // "package-0"
	domain string  // "package"
	parent string  // its parent's folder name; empty for a zone of the first level
	number []int64 // the numbers in its folder's name
}

func (c powercap) Scan() (offers []Offer, absences []Absence) {
	zones := c.zones()
	names := map[string]string{} // instance by folder name
	taken := map[string]bool{}
	for _, z := range zones {
		domain, known := powercapDomains[z.domain]
		instance := z.name
		if z.parent != "" {
			instance = names[z.parent] + "/" + z.name
		}
		names[filepath.Base(z.dir)] = instance
		// Another control type may show the same zone again.
		if !known || taken[instance] || !exists(z.dir, "energy_uj") {
			continue
		}
		taken[instance] = true
		offers = append(offers, offerEnergy(z.dir, instance, domain.energy, domain.power))
	}
	if len(offers) == 0 {
		absences = append(absences, Absence{Collector: c.Name(), Source: c.roots.sys("class", "powercap", "*", "energy_uj"), Why: "no such driver"})
	}
	if o, ok := offerPowercapLimit(zones); ok {
		offers = append(offers, o)
	} else {
		absences = append(absences, Absence{Collector: c.Name(), Source: c.roots.sys("class", "powercap", "*", "constraint_*_power_limit_uw"),
			Why: "no zone has a long-term limit", Remedy: "declare the setting"})
	}
	return offers, absences
}

// zones lists the zones, parents before their children, in the order of their
// numbers.
func (c powercap) zones() []powercapZone {
	class := c.roots.sys("class", "powercap")
	var zones []powercapZone
	for _, folder := range folderNames(class) {
		control, numbers, found := strings.Cut(folder, ":")
		if !found {
			continue // the control type itself
		}
		z := powercapZone{dir: filepath.Join(class, folder), name: staticText(class, folder, "name")}
		z.domain, _, _ = strings.Cut(z.name, "-")
		if i := strings.LastIndex(numbers, ":"); i >= 0 {
			z.parent = control + ":" + numbers[:i]
		}
		for digits := range strings.SplitSeq(numbers, ":") {
			n, err := strconv.ParseInt(digits, 16, 64)
			if err != nil {
				n = -1
			}
			z.number = append(z.number, n)
		}
		zones = append(zones, z)
	}
	slices.SortFunc(zones, func(a, b powercapZone) int {
		if d := slices.Compare(a.number, b.number); d != 0 {
			return d
		}
		// The shorter name is the plain control type, longer ones are variants.
		if d := len(a.dir) - len(b.dir); d != 0 {
			return d
		}
		return strings.Compare(a.dir, b.dir)
	})
	return zones
}
