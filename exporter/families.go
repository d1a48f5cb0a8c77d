package exporter

import (
	"slices"

	"github.com/prometheus/client_golang/prometheus"
)

// families are the metrics that Metrics keeps, one vector for each name.
type families struct {
	// Gauges of the label set in force.
	discharge, charge, online, temperature, power, setting, active *prometheus.GaugeVec
	// Runs that record or ended lately.
	info, findings *prometheus.GaugeVec

	energy *prometheus.CounterVec
	effect *prometheus.GaugeVec

	up     *prometheus.GaugeVec
	errors *prometheus.CounterVec

	list []prometheus.Collector // all of them
}

// readingLabels are the labels of every reading.
var readingLabels = []string{"device", "workload", "setting", "supply", "variant"}

// effectLabels are those of sweepd_supply_effect_ratio.
var effectLabels = []string{"device", "workload", "variant", "setting", "result", "bound"}

func newFamilies() families {
	f := families{
		discharge:   reading("sweepd_battery_discharge_watts", "Power that leaves the batteries: positive while discharging, negative while charging, 0 at rest."),
		charge:      reading("sweepd_battery_charge_ratio", "Charge of the batteries as a share of full, 0 to 1."),
		online:      reading("sweepd_supply_online", "1 while mains or a charger feeds the device, 0 on battery."),
		temperature: reading("sweepd_temperature_celsius", "Temperature at a sensor of the device.", "sensor"),
		power:       reading("sweepd_power_watts", "Power of a part of the device at the latest sweep.", "domain"),
		setting:     reading("sweepd_power_setting_watts", "Active power setting; missing where it has a name only."),
		active:      reading("sweepd_run_active", "1 while a run is recording, else 0."),
		info:        reading("sweepd_run_info", "1 for the run that is recording and for those that ended in the last five minutes, by the run's id.", "run"),
		findings:    reading("sweepd_run_findings", "Findings about the runs that ended in the last five minutes.", "code", "severity"),
		energy: prometheus.NewCounterVec(prometheus.CounterOpts{Name: "sweepd_energy_joules_total",
			Help: "Energy since the agent started, integrated at the agent's own cadence; battery is what left the batteries, without what went in."},
			slices.Concat(readingLabels, []string{"domain"})),
		effect: prometheus.NewGaugeVec(prometheus.GaugeOpts{Name: "sweepd_supply_effect_ratio",
			Help: "Result on battery over result on mains, with its simultaneous 95 % bounds; no bounds where too few runs tell how noisy results are."}, effectLabels),
		up: prometheus.NewGaugeVec(prometheus.GaugeOpts{Name: "sweepd_collector_up",
			Help: "1 while at least one source of the collector can be read; 0 also where the machine has none."}, []string{"collector"}),
		errors: prometheus.NewCounterVec(prometheus.CounterOpts{Name: "sweepd_collector_errors_total",
			Help: "Reads of the collector that failed."}, []string{"collector"}),
	}
	f.list = []prometheus.Collector{f.discharge, f.charge, f.online, f.temperature, f.power, f.setting, f.active,
		f.info, f.findings, f.energy, f.effect, f.up, f.errors}
	return f
}

// reading makes a family with the labels of a reading, followed by more.
func reading(name, help string, more ...string) *prometheus.GaugeVec {
	return prometheus.NewGaugeVec(prometheus.GaugeOpts{Name: name, Help: help}, slices.Concat(readingLabels, more))
}

// forgetCurrent drops the gauges of the label set in force.
func (f *families) forgetCurrent() {
	for _, v := range []*prometheus.GaugeVec{f.discharge, f.charge, f.online, f.temperature, f.power, f.setting, f.active} {
		v.Reset()
	}
}
