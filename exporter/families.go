package exporter

import (
	"slices"

	"github.com/prometheus/client_golang/prometheus"
)

// families are the metrics that Metrics keeps, one vector for each name.
type families struct {
	gauges map[*metric]*prometheus.GaugeVec // of the label set in force
	energy *prometheus.CounterVec
	// Runs that record or ended lately.
	info, findings *prometheus.GaugeVec
	effect         *prometheus.GaugeVec

	up     *prometheus.GaugeVec
	errors *prometheus.CounterVec

	list []prometheus.Collector // all of them
}

// effectLabels are those of sweepd_supply_effect_ratio.
var effectLabels = []string{"device", "workload", "variant", "setting", "result", "bound"}

func newFamilies() families {
	f := families{
		gauges:   map[*metric]*prometheus.GaugeVec{},
		energy:   prometheus.NewCounterVec(prometheus.CounterOpts{Name: energyJoules.name, Help: energyJoules.help}, energyJoules.labels()),
		info:     readingGauge("sweepd_run_info", "1 for the run that is recording and for those that ended in the last five minutes, by the run's id.", "run"),
		findings: readingGauge("sweepd_run_findings", "Findings about the runs that ended in the last five minutes.", "code", "severity"),
		effect: prometheus.NewGaugeVec(prometheus.GaugeOpts{Name: "sweepd_supply_effect_ratio",
			Help: "Result on battery over result on mains, with its simultaneous 95 % bounds; no bounds where too few runs tell how noisy results are."}, effectLabels),
		up: prometheus.NewGaugeVec(prometheus.GaugeOpts{Name: "sweepd_collector_up",
			Help: "1 while at least one source of the collector can be read; 0 also where the machine has none."}, []string{"collector"}),
		errors: prometheus.NewCounterVec(prometheus.CounterOpts{Name: "sweepd_collector_errors_total",
			Help: "Reads of the collector that failed."}, []string{"collector"}),
	}
	f.list = []prometheus.Collector{f.energy, f.info, f.findings, f.effect, f.up, f.errors}
	for _, m := range gauges {
		f.gauges[m] = prometheus.NewGaugeVec(prometheus.GaugeOpts{Name: m.name, Help: m.help}, m.labels())
		f.list = append(f.list, f.gauges[m])
	}
	return f
}

// readingGauge makes a family with the labels of a reading, followed by more.
func readingGauge(name, help string, more ...string) *prometheus.GaugeVec {
	return prometheus.NewGaugeVec(prometheus.GaugeOpts{Name: name, Help: help}, slices.Concat(readingLabels, more))
}
