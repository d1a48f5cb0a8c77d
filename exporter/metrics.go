package exporter

import (
	"math"
	"net/http"
	"slices"
	"strconv"
	"sync"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/promhttp"

	"sweepd/agent"
	"sweepd/collectors"
)

// Source is what is exposed; *agent.Agent is one.
type Source interface{ Snapshot(*agent.Snapshot) }

// Build says which program answers.
type Build struct{ Version, Revision, GoVersion string }

// Metrics exposes an agent to Prometheus. Its methods may be called from any
// goroutine.
type Metrics struct {
	registry *prometheus.Registry
	source   Source
	health   func() []collectors.Health

	mu   sync.Mutex
	snap agent.Snapshot

	vecs     vectors
	current  *currentSeries
	energies map[string]*energySeries
	effects  *prometheus.GaugeVec

	finished    []finishedRun
	runsChanged bool
	recording   string // id of the run that was recording at the last scrape

	sweepTime, up, errors *prometheus.Desc
}

// vectors are the families with reading labels.
type vectors struct {
	discharge, charge, online, temperature, power, setting *prometheus.GaugeVec
	active, info, findings                                 *prometheus.GaugeVec
	energy                                                 *prometheus.CounterVec
}

// New makes the metrics of an agent. health may be nil.
func New(source Source, health func() []collectors.Health, build Build) *Metrics {
	gaugeVec := func(name, help string, more ...string) *prometheus.GaugeVec {
		return prometheus.NewGaugeVec(prometheus.GaugeOpts{Name: name, Help: help}, slices.Concat(readingLabels, more))
	}
	m := &Metrics{
		registry: prometheus.NewRegistry(), source: source, health: health, energies: map[string]*energySeries{},
		vecs: vectors{
			discharge:   gaugeVec("sweepd_battery_discharge_watts", "Power that leaves the batteries: positive while discharging, negative while charging, 0 at rest."),
			charge:      gaugeVec("sweepd_battery_charge_ratio", "Charge of the batteries as a share of full, 0 to 1."),
			online:      gaugeVec("sweepd_supply_online", "1 while mains or a charger feeds the device, 0 on battery."),
			temperature: gaugeVec("sweepd_temperature_celsius", "Temperature of a sensor of the device.", "sensor"),
			power:       gaugeVec("sweepd_power_watts", "Power at the latest sweep, by part of the device.", "domain"),
			setting:     gaugeVec("sweepd_power_setting_watts", "Active power setting; missing where it has a name only."),
			active:      gaugeVec("sweepd_run_active", "1 while a run is recording, else 0."),
			info:        gaugeVec("sweepd_run_info", "1 for the run that is recording and for those that ended in the last five minutes, by the run's id.", "run"),
			findings:    gaugeVec("sweepd_run_findings", "Findings of the runs that ended in the last five minutes.", "code", "severity"),
			energy: prometheus.NewCounterVec(prometheus.CounterOpts{Name: "sweepd_energy_joules_total",
				Help: "Energy since the agent started, integrated at the agent's own cadence; battery counts what left the batteries."}, slices.Concat(readingLabels, []string{"domain"})),
		},
		effects: prometheus.NewGaugeVec(prometheus.GaugeOpts{Name: "sweepd_supply_effect_ratio",
			Help: "Result on battery over result on mains, with its simultaneous 95 % bounds; no bounds where too few runs say how noisy results are."},
			[]string{"device", "workload", "variant", "setting", "result", "bound"}),
		sweepTime: prometheus.NewDesc("sweepd_sweep_duration_seconds", "Time that sweeps took.", nil, nil),
		up:        prometheus.NewDesc("sweepd_collector_up", "1 while at least one source of the collector can be read, else 0.", []string{"collector"}, nil),
		errors:    prometheus.NewDesc("sweepd_collector_errors_total", "Reads of the collector that failed.", []string{"collector"}, nil),
	}
	info := prometheus.NewGauge(prometheus.GaugeOpts{Name: "sweepd_build_info", Help: "1, with the version of this program.",
		ConstLabels: prometheus.Labels{"version": build.Version, "revision": build.Revision, "goversion": build.GoVersion}})
	info.Set(1)
	m.registry.MustRegister(m, m.effects, info, newFootprint())
	return m
}

// Gatherer gives the metrics to whoever does not scrape over HTTP.
func (m *Metrics) Gatherer() prometheus.Gatherer { return m.registry }

// Handler answers a scrape.
func (m *Metrics) Handler() http.Handler {
	return promhttp.HandlerFor(m.registry, promhttp.HandlerOpts{EnableOpenMetrics: true})
}

func (m *Metrics) families() []prometheus.Collector {
	v := &m.vecs
	return []prometheus.Collector{v.discharge, v.charge, v.online, v.temperature, v.power, v.setting, v.active, v.info, v.findings, v.energy}
}

// Describe implements prometheus.Collector.
func (m *Metrics) Describe(ch chan<- *prometheus.Desc) {
	for _, f := range m.families() {
		f.Describe(ch)
	}
	ch <- m.sweepTime
	ch <- m.up
	ch <- m.errors
}

// Collect implements prometheus.Collector: it brings every series up to the
// agent's latest sweep.
func (m *Metrics) Collect(ch chan<- prometheus.Metric) {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.source.Snapshot(&m.snap)
	if m.snap.Sweeps > 0 {
		m.followCurrent()
		m.followEnergies()
		m.followRuns()
	}
	for _, f := range m.families() {
		f.Collect(ch)
	}
	ch <- prometheus.MustNewConstSummary(m.sweepTime, m.snap.Sweeps, m.snap.SweepSeconds, nil)
	m.collectHealth(ch)
}

func (m *Metrics) collectHealth(ch chan<- prometheus.Metric) {
	if m.health == nil {
		return
	}
	for _, h := range m.health() {
		up := 0.0
		if h.Up {
			up = 1
		}
		ch <- prometheus.MustNewConstMetric(m.up, prometheus.GaugeValue, up, h.Name)
		ch <- prometheus.MustNewConstMetric(m.errors, prometheus.CounterValue, float64(h.Errors), h.Name)
	}
}

// labelSet is a set of labels as the key of a map.
func labelSet(values []string) string {
	key := ""
	for _, v := range values {
		key += strconv.Quote(v) + ","
	}
	return key
}

func ratio(b bool) float64 {
	if b {
		return 1
	}
	return 0
}

// setWatts is the active setting in watts, NaN where it has a name only.
func setWatts(s agent.Setting) float64 {
	if s.Watts == nil {
		return math.NaN()
	}
	return *s.Watts
}
