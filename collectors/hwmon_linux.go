package collectors

import (
	"path/filepath"
	"strings"
	"time"

	"sweepd/run"
)

// hwmon finds the channels of sensor chips, class/hwmon/hwmonN, after
// Documentation/hwmon/sysfs-interface.rst: temperatures, power, energy,
// voltage, current, fans and clocks.
//
// Chips that repeat what another collector reads are left out: those of power
// supplies, thermal zones and graphics cards.
type hwmon struct{ roots Roots }

// NewHwmon finds sensor chips and fans.
func NewHwmon(roots Roots) Collector { return hwmon{roots} }

func (hwmon) Name() string { return "hwmon" }

func (h hwmon) Scan() (offers []Offer, absences []Absence) {
	class := h.roots.sys("class", "hwmon")
	chips := h.chips()
	names := uniqueNames(folders(chips))
	fans := false
	for i, chip := range chips {
		for _, c := range chip.channels {
			fans = fans || c.kind.id == run.FanSpeed
			if c.off != "" {
				absences = append(absences, c.switchedOff(h.Name()))
				continue
			}
			offers = append(offers, c.offer(names[i], c.kind.id, nil))
		}
	}
	if len(chips) == 0 {
		absences = append(absences, Absence{Collector: h.Name(), Source: filepath.Join(class, "hwmon*"),
			Why: "no such driver", Remedy: "load the driver of this board's sensor chip, if the kernel has one"})
	}
	if !fans {
		absences = append(absences, Absence{Collector: h.Name(), Source: filepath.Join(class, "hwmon*", "fan*_input"),
			Why: "no driver reports a fan's speed"})
	}
	return offers, absences
}

// chips lists the chips that no other collector reads.
func (h hwmon) chips() []hwmonChip {
	class := h.roots.sys("class", "hwmon")
	taken := h.roots.graphicsHwmon()
	zones := h.roots.zoneTypes()
	var chips []hwmonChip
	for _, number := range numbered(class, "hwmon") {
		dir := filepath.Join(class, number)
		if real, err := realPath(dir); err == nil && taken[real] {
			continue
		}
		chip := h.roots.hwmonChip(dir)
		if len(chip.channels) == 0 || h.roots.mirrors(chip, zones) {
			continue
		}
		chips = append(chips, chip)
	}
	return chips
}

// mirrors tells whether a chip only repeats a power supply or a thermal zone.
// The kernel makes such chips itself: their device is the supply or the zone.
// On old kernels, and in the kernel's document, chips of zones have no device
// link; they are known by the zone's type, in which the kernel turns - into _.
func (r Roots) mirrors(chip hwmonChip, zones map[string]bool) bool {
	link := filepath.Join(chip.dir, "device")
	real, err := realPath(link)
	if err != nil {
		return zones[chip.name] && chip.hasOnly("temp")
	}
	subsystem, _ := realPath(filepath.Join(link, "subsystem"))
	return filepath.Base(subsystem) == "power_supply" || strings.Contains(real, "/power_supply/") ||
		strings.HasPrefix(filepath.Base(real), "thermal_zone")
}

// hwmonKind is what the files of one prefix mean.
type hwmonKind struct {
	prefix     string
	inputs     []string // suffixes; the first that can be read counts
	id, unit   string
	kind       run.Kind
	resolution float64
	limits     limits
	// interval: fans are read through the embedded controller on most portable
	// machines, and turn slowly.
	interval time.Duration
}

var hwmonKinds = []hwmonKind{
	{prefix: "temp", inputs: []string{"input"}, id: run.Temperature, unit: "celsius", resolution: 1e-3, limits: temperatureLimits},
	// The average first: it loses nothing between two sweeps.
	{prefix: "power", inputs: []string{"average", "input"}, id: run.Power, unit: "watts", resolution: 1e-6, limits: believedWatts.in(1e-6, "an integer (microwatts)")},
	{prefix: "energy", inputs: []string{"input"}, id: run.Energy, unit: "joules", kind: run.Counter, resolution: 1e-6, limits: microjoules},
	{prefix: "in", inputs: []string{"input"}, id: run.Voltage, unit: "volts", resolution: 1e-3, limits: believedVolts.in(1e-3, "an integer (millivolts)")},
	{prefix: "curr", inputs: []string{"input"}, id: run.Current, unit: "amperes", resolution: 1e-3, limits: believedAmperes.in(1e-3, "an integer (milliamperes)")},
	{prefix: "fan", inputs: []string{"input"}, id: run.FanSpeed, unit: "hertz", resolution: 1.0 / 60, interval: time.Second,
		limits: believedFan.in(1.0/60, "a whole number of revolutions per minute")},
	{prefix: "freq", inputs: []string{"input"}, id: run.Frequency, unit: "hertz", resolution: 1,
		limits: believedHertz.in(1, "a whole number of hertz")},
}
