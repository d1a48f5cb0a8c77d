package agent

import (
	"math"

	"sweepd/run"
)

// view knows where in a sweep the sensors stand that labels, energies and
// findings need.
type view struct {
	n         int // sensors seen when the view was made
	batteries []batteryView
	online    []int

	packageEnergy, packagePower []int
	coreEnergy, corePower       []int
	gpuEnergy, gpuPower         []int

	limits  map[string]int // by instance
	profile int

	temperatures, frequencies, throttles []int
	busy                                 int
}

// batteryView holds the positions of one battery's sensors, -1 where it has
// none.
type batteryView struct {
	instance                         string
	power, energy, charge, direction int
}

func newView(sensors []run.Sensor) view {
	v := view{n: len(sensors), limits: map[string]int{}, profile: -1, busy: -1}
	battery := func(instance string) *batteryView {
		for i := range v.batteries {
			if v.batteries[i].instance == instance {
				return &v.batteries[i]
			}
		}
		v.batteries = append(v.batteries, batteryView{instance, -1, -1, -1, -1})
		return &v.batteries[len(v.batteries)-1]
	}
	for i, s := range sensors {
		switch s.ID {
		case run.BatteryPower:
			battery(s.Instance).power = i
		case run.BatteryEnergy:
			battery(s.Instance).energy = i
		case run.BatteryCharge:
			battery(s.Instance).charge = i
		case run.BatteryDirection:
			battery(s.Instance).direction = i
		case run.SupplyOnline:
			v.online = append(v.online, i)
		case run.PackageEnergy:
			v.packageEnergy = append(v.packageEnergy, i)
		case run.PackagePower:
			v.packagePower = append(v.packagePower, i)
		case run.CoreEnergy:
			v.coreEnergy = append(v.coreEnergy, i)
		case run.CorePower:
			v.corePower = append(v.corePower, i)
		case run.GPUEnergy:
			v.gpuEnergy = append(v.gpuEnergy, i)
		case run.GPUPower:
			v.gpuPower = append(v.gpuPower, i)
		case run.PowerLimit:
			v.limits[s.Instance] = i
		case run.Temperature:
			v.temperatures = append(v.temperatures, i)
		case run.CPUFrequency:
			v.frequencies = append(v.frequencies, i)
		case run.ThrottleEvents:
			v.throttles = append(v.throttles, i)
		case run.CPUBusy:
			v.busy = i
		case run.PlatformProfile:
			if v.profile < 0 {
				v.profile = i
			}
		}
	}
	v.packagePower = onePackage(sensors, v.packageEnergy, v.packagePower)
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

// at is the value at position i, NaN where there is none.
func at(values []float64, i int) float64 {
	if i < 0 || i >= len(values) {
		return math.NaN()
	}
	return values[i]
}

// sum adds the values at the positions; missing if one of them is missing or
// there is none.
func sum(values []float64, positions []int) float64 {
	if len(positions) == 0 {
		return math.NaN()
	}
	total := 0.0
	for _, i := range positions {
		total += at(values, i)
	}
	return total
}

// supply tells what feeds the device. The adapters decide where they say
// anything, since they report at once; then the direction of the batteries. A
// machine without a battery is on mains.
func (v *view) supply(values []float64) run.Supply {
	known, fed := false, false
	for _, i := range v.online {
		x := at(values, i)
		known = known || !math.IsNaN(x)
		fed = fed || x > 0
	}
	switch {
	case fed || len(v.batteries) == 0:
		return run.Mains
	case known:
		return run.Battery
	}
	return v.supplyByBattery(values)
}

// supplyByBattery tells it from the batteries alone.
func (v *view) supplyByBattery(values []float64) run.Supply {
	supply := run.SupplyUnknown
	for _, b := range v.batteries {
		switch x := at(values, b.direction); {
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
func (v *view) direction(values []float64) float64 {
	result := math.NaN()
	for _, b := range v.batteries {
		switch x := at(values, b.direction); {
		case x > 0:
			return 1
		case math.IsNaN(x):
		case math.IsNaN(result) || x < result:
			result = x
		}
	}
	return result
}

// discharge is the reported power that leaves the batteries, W: 0 for one at
// rest, missing if some battery that says anything does not say its power.
func (v *view) discharge(values []float64) float64 {
	total, any := 0.0, false
	for _, b := range v.batteries {
		p := b.reportedPower(values)
		if math.IsNaN(p) && b.silent(values) {
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

func (b batteryView) reportedPower(values []float64) float64 {
	p := at(values, b.power)
	if math.IsNaN(p) && at(values, b.direction) == 0 {
		return 0
	}
	return p
}

// silent tells whether a battery says nothing at all: it was pulled.
func (b batteryView) silent(values []float64) bool {
	return math.IsNaN(at(values, b.power)) && math.IsNaN(at(values, b.energy)) && math.IsNaN(at(values, b.direction))
}

// charge is the batteries' charge, 0 to 1, their mean where there are several.
func (v *view) charge(values []float64) float64 {
	total, n := 0.0, 0
	for _, b := range v.batteries {
		if c := at(values, b.charge); !math.IsNaN(c) {
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

// settingRead is what the system reports as its limit, from the source of the
// highest trust; unknown when it reports nothing.
func (v *view) settingRead(values []float64) run.SourcedSetting {
	for _, r := range readSources {
		i, there := v.limits[r.instance]
		if !there {
			continue
		}
		if w := at(values, i); !math.IsNaN(w) && w > 0 {
			return run.Watts(w).From(r.source)
		}
	}
	if name := v.profileName(values); name != "" {
		return run.Named(name).From(run.Profile)
	}
	return run.SourcedSetting{}
}

func (v *view) profileName(values []float64) string {
	p := at(values, v.profile)
	if math.IsNaN(p) || p < 0 || int(p) >= len(run.PlatformProfiles) {
		return ""
	}
	return run.PlatformProfiles[int(p)]
}

// powers are the powers of the domains, W, NaN where unknown. discharge is what
// leaves the batteries.
func (v *view) powers(values []float64, discharge float64) (p [domains]float64) {
	p[DomainPackage] = sum(values, v.packagePower)
	p[DomainCore] = sum(values, v.corePower)
	p[DomainGPU] = sum(values, v.gpuPower)
	p[DomainBattery] = discharge
	return p
}
