package exporter

import (
	"cmp"
	"math"
	"slices"

	"sweepd/agent"
	"sweepd/run"
)

// metric is the name of what is exported of a sweep. It has the labels of a reading and
// at most one more.
type metric struct {
	name, help string
	label      string // the one more; "" for none
}

// readingLabels are the labels of every reading.
var readingLabels = []string{"device", "workload", "setting", "supply", "variant"}

// labels are the names of all labels.
func (m *metric) labels() []string {
	if m.label == "" {
		return readingLabels
	}
	return append(slices.Clone(readingLabels), m.label)
}

// The gauges of a sweep.
var (
	dischargeWatts     = &metric{"sweepd_battery_discharge_watts", "Power that leaves the batteries: positive while discharging, negative while charging, 0 at rest.", ""}
	chargeRatio        = &metric{"sweepd_battery_charge_ratio", "Charge of the batteries as a share of full, 0 to 1.", ""}
	supplyOnline       = &metric{"sweepd_supply_online", "1 while mains or a charger feeds the device, 0 on battery.", ""}
	temperatureCelsius = &metric{"sweepd_temperature_celsius", "Temperature at a sensor of the device.", "sensor"}
	powerWatts         = &metric{"sweepd_power_watts", "Power of a part of the device at the latest sweep.", "domain"}
	settingWatts       = &metric{"sweepd_power_setting_watts", "Active power setting; missing where it has a name only.", ""}
	runActive          = &metric{"sweepd_run_active", "1 while a run is recording, else 0.", ""}

	gauges = []*metric{dischargeWatts, chargeRatio, supplyOnline, temperatureCelsius, powerWatts, settingWatts, runActive}
)

// energyJoules is a counter, with a sample for each domain of a label set.
var energyJoules = &metric{"sweepd_energy_joules_total", "Energy since the agent started, integrated at the agent's own cadence; battery is what left the batteries, without what went in.", "domain"}

// sample is one series and where a sweep has its value. The samples are the one mapping
// from a sweep to what leaves the machine: whatever exports readings uses them.
type sample struct {
	metric     *metric
	labelValue string // the value of metric.label
	value      func(*agent.Snapshot) float64
}

// samplesOf are the samples of sweeps of these sensors. A value is NaN while it is
// missing: a missing sensor is never zero.
func samplesOf(sensors []run.Sensor) []sample {
	list := []sample{
		{dischargeWatts, "", func(s *agent.Snapshot) float64 { return s.DischargeWatts }},
		{chargeRatio, "", func(s *agent.Snapshot) float64 { return s.ChargeRatio }},
		{supplyOnline, "", online},
		{settingWatts, "", setWatts},
		{runActive, "", func(s *agent.Snapshot) float64 { return oneIf(s.Recording != nil) }},
	}
	for i, x := range sensors {
		if x.ID == run.Temperature {
			list = append(list, sample{temperatureCelsius, cmp.Or(run.Visible(x.Instance), onlyTemperature), func(s *agent.Snapshot) float64 { return s.Values[i] }})
		}
	}
	for _, d := range agent.Domains() {
		list = append(list, sample{powerWatts, d.String(), func(s *agent.Snapshot) float64 { return s.Power[d] }})
	}
	return list
}

// onlyTemperature names the temperature of a machine that has a single one.
const onlyTemperature = "device"

func online(s *agent.Snapshot) float64 {
	if s.Current.Supply == run.SupplyUnknown {
		return math.NaN()
	}
	return oneIf(s.Current.Supply == run.Mains)
}

func setWatts(s *agent.Snapshot) float64 {
	if w, ok := s.Current.Setting.Watts(); ok {
		return w
	}
	return math.NaN()
}

func oneIf(b bool) float64 {
	if b {
		return 1
	}
	return 0
}
