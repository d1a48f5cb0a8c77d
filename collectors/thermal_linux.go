package collectors

import (
	"path/filepath"
	"strings"
	"time"

	"sweepd/run"
)

// thermal finds the kernel's thermal zones, class/thermal/thermal_zoneN
// (Documentation/driver-api/thermal/sysfs-api.rst), whose file temp is in
// thousandths of a degree Celsius.
type thermal struct{ roots Roots }

// NewThermal finds thermal zones.
func NewThermal(roots Roots) Collector { return thermal{roots} }

func (thermal) Name() string { return "thermal" }

func (t thermal) Scan() (offers []Offer, absences []Absence) {
	zones := t.roots.thermalZones()
	for i, name := range uniqueNames(zones) {
		path := filepath.Join(zones[i].dir, "temp")
		offers = append(offers, Offer{
			Sensors: []run.Sensor{{ID: run.Temperature, Instance: name, Unit: "celsius", Kind: run.Gauge,
				Source: path, Resolution: 1e-3}},
			MinInterval: zoneInterval(zones[i].name),
			Open:        openGuarded(guardedSource{inputs: []string{path}, limits: temperatureLimits}),
		})
	}
	if len(zones) == 0 {
		absences = append(absences, Absence{Collector: t.Name(),
			Source: t.roots.sys("class", "thermal", "thermal_zone*"), Why: "no such driver"})
	}
	return offers, absences
}

// zoneInterval is a second for zones of the firmware: each reading runs the
// firmware's own code, which often asks the embedded controller.
func zoneInterval(zoneType string) time.Duration {
	if zoneType == "acpitz" {
		return time.Second
	}
	return 0
}

func (r Roots) thermalZones() []namedFolder {
	class := r.sys("class", "thermal")
	var zones []namedFolder
	for _, number := range numbered(class, "thermal_zone") {
		dir := filepath.Join(class, number)
		name := staticText(dir, "type")
		if name == "" {
			name = number
		}
		zones = append(zones, namedFolder{dir: dir, name: name, address: r.deviceAddress(filepath.Join(dir, "device"))})
	}
	return zones
}

// zoneTypes is the set of zone types as a sensor chip's name would spell them.
func (r Roots) zoneTypes() map[string]bool {
	types := map[string]bool{}
	for _, zone := range r.thermalZones() {
		types[strings.ReplaceAll(zone.name, "-", "_")] = true
	}
	return types
}
