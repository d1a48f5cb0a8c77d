package judge

import (
	"math"

	"sweepd/run"
)

// SensorIndex knows where in a sweep the sensors stand that labels, energies and
// findings need.
type SensorIndex struct {
	Sensors   []run.Sensor // of the sweeps that it fits
	Batteries []BatteryIndex
	online    []int

	PackageEnergy, PackagePower []int
	CoreEnergy, CorePower       []int
	GPUEnergy, GPUPower         []int

	limits  map[string]int // by instance
	profile int

	temperatures, frequencies, throttles []int
	busy                                 int
}

// BatteryIndex holds the positions of one battery's sensors, -1 where it has
// none.
type BatteryIndex struct {
	Instance                         string
	Power, Energy, Charge, Direction int
	Full                             int // full content
}

// NewSensorIndex makes the index of sweeps of these sensors.
func NewSensorIndex(sensors []run.Sensor) SensorIndex {
	v := SensorIndex{Sensors: sensors, limits: map[string]int{}, profile: -1, busy: -1}
	battery := func(instance string) *BatteryIndex {
		for i := range v.Batteries {
			if v.Batteries[i].Instance == instance {
				return &v.Batteries[i]
			}
		}
		v.Batteries = append(v.Batteries, BatteryIndex{instance, -1, -1, -1, -1, -1})
		return &v.Batteries[len(v.Batteries)-1]
	}
	lists := map[string]*[]int{
		run.SupplyOnline:  &v.online,
		run.PackageEnergy: &v.PackageEnergy, run.PackagePower: &v.PackagePower,
		run.CoreEnergy: &v.CoreEnergy, run.CorePower: &v.CorePower,
		run.GPUEnergy: &v.GPUEnergy, run.GPUPower: &v.GPUPower,
		run.Temperature: &v.temperatures, run.CPUFrequency: &v.frequencies, run.ThrottleEvents: &v.throttles,
	}
	for i, s := range sensors {
		if list := lists[s.ID]; list != nil {
			*list = append(*list, i)
			continue
		}
		switch s.ID {
		case run.BatteryPower:
			battery(s.Instance).Power = i
		case run.BatteryEnergy:
			battery(s.Instance).Energy = i
		case run.BatteryEnergyFull:
			battery(s.Instance).Full = i
		case run.BatteryCharge:
			battery(s.Instance).Charge = i
		case run.BatteryDirection:
			battery(s.Instance).Direction = i
		case run.PowerLimit:
			v.limits[s.Instance] = i
		case run.CPUBusy:
			v.busy = i
		case run.PlatformProfile:
			if v.profile < 0 {
				v.profile = i
			}
		}
	}
	v.PackagePower = onePackage(sensors, v.PackageEnergy, v.PackagePower)
	return v
}

// onePackage keeps the package powers that may be added up: those that belong
// to energy counters where there are any, else the first, since a graphics
// driver's socket power and another sensor's measure the same thing.
func onePackage(sensors []run.Sensor, energy, power []int) []int {
	if len(energy) == 0 {
		return power[:min(1, len(power))]
	}
	var kept []int
	for _, p := range power {
		for _, e := range energy {
			if sensors[p].Instance == sensors[e].Instance {
				kept = append(kept, p)
			}
		}
	}
	return kept
}

// At is the value at position i, NaN where there is none.
func At(values []float64, i int) float64 {
	if i < 0 || i >= len(values) {
		return math.NaN()
	}
	return values[i]
}

// Sum adds the values at the positions; missing if one of them is missing or
// there is none.
func Sum(values []float64, positions []int) float64 {
	if len(positions) == 0 {
		return math.NaN()
	}
	total := 0.0
	for _, i := range positions {
		total += At(values, i)
	}
	return total
}

// Supply tells what feeds the device. The adapters decide where they say
// anything, since they report at once; then the direction of the batteries. A
// machine without a battery is on mains.
func (index *SensorIndex) Supply(values []float64) run.Supply {
	known, fed := false, false
	for _, i := range index.online {
		x := At(values, i)
		known = known || !math.IsNaN(x)
		fed = fed || x > 0
	}
	switch {
	case fed || len(index.Batteries) == 0:
		return run.Mains
	case known:
		return run.Battery
	}
	return index.supplyByBattery(values)
}

// supplyByBattery tells it from the batteries alone.
func (index *SensorIndex) supplyByBattery(values []float64) run.Supply {
	supply := run.SupplyUnknown
	for _, b := range index.Batteries {
		switch x := At(values, b.Direction); {
		case x > 0:
			return run.Battery
		case x <= 0:
			supply = run.Mains
		}
	}
	return supply
}

// direction is 1 if some battery discharges, else -1 if some charges, else 0;
// NaN if none says.
func (index *SensorIndex) direction(values []float64) float64 {
	result := math.NaN()
	for _, b := range index.Batteries {
		switch x := At(values, b.Direction); {
		case x > 0:
			return 1
		case math.IsNaN(x):
		case math.IsNaN(result) || x < result:
			result = x
		}
	}
	return result
}

// Discharge is the reported power that leaves the batteries, W: 0 for one at
// rest, missing if some battery that says anything does not say its power.
func (index *SensorIndex) Discharge(values []float64) float64 {
	total, any := 0.0, false
	for _, b := range index.Batteries {
		p := b.ReportedPower(values)
		if math.IsNaN(p) && b.Silent(values) {
			continue
		}
		any = true
		total += p
	}
	if !any {
		return math.NaN()
	}
	return total
}

// ReportedPower is the power that the battery says leaves it, W, 0 at rest; NaN
// where it does not say.
func (b BatteryIndex) ReportedPower(values []float64) float64 {
	p := At(values, b.Power)
	if math.IsNaN(p) && At(values, b.Direction) == 0 {
		return 0
	}
	return p
}

// Silent tells whether a battery says nothing at all: it was pulled.
func (b BatteryIndex) Silent(values []float64) bool {
	return math.IsNaN(At(values, b.Power)) && math.IsNaN(At(values, b.Energy)) && math.IsNaN(At(values, b.Direction))
}

// Charge is the charge of the batteries, 0 to 1, their mean where there are several.
func (index *SensorIndex) Charge(values []float64) float64 {
	total, n := 0.0, 0
	for _, b := range index.Batteries {
		if c := At(values, b.Charge); !math.IsNaN(c) {
			total += c
			n++
		}
	}
	if n == 0 {
		return math.NaN()
	}
	return total / float64(n)
}

// readSources are the sources that a sweep holds, in order of trust.
var readSources = []struct {
	source   run.Source
	instance string
}{{run.Firmware, run.LimitFirmware}, {run.Powercap, run.LimitPowercap}, {run.GPU, run.LimitGPU}}

// SettingRead is what the system reports as its limit, from the source of the
// highest trust; unknown when it reports nothing.
func (index *SensorIndex) SettingRead(values []float64) run.SourcedSetting {
	for _, r := range readSources {
		i, there := index.limits[r.instance]
		if !there {
			continue
		}
		if w := At(values, i); !math.IsNaN(w) && w > 0 {
			return run.Watts(w).From(r.source)
		}
	}
	if name := index.profileName(values); name != "" {
		return run.Named(name).From(run.Profile)
	}
	return run.SourcedSetting{}
}

func (index *SensorIndex) profileName(values []float64) string {
	p := At(values, index.profile)
	if math.IsNaN(p) || p < 0 || int(p) >= len(run.PlatformProfiles) {
		return ""
	}
	return run.PlatformProfiles[int(p)]
}
