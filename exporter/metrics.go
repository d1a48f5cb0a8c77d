package exporter

import (
	"net/http"
	"sync"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/promhttp"

	"sweepd/agent"
	"sweepd/collectors"
	"sweepd/run"
)

// Source is what is exposed; *agent.Agent is one.
type Source interface {
	Snapshot(*agent.Snapshot)
	Subscribe(func(run.Event)) *agent.Subscription
}

// Build says which program answers.
type Build struct{ Version, Revision, GoVersion string }

// Metrics exposes an agent to Prometheus. Its methods may be called from any
// goroutine.
type Metrics struct {
	registry *prometheus.Registry
	source   Source
	events   *agent.Subscription
	health   func() []collectors.Health

	comparing sync.Mutex // held by CompareSupplies

	mu   sync.Mutex // guards what follows
	snap agent.Snapshot

	families families
	current  *currentSeries
	energies map[run.Cell]*energySeries
	sources  map[string]*sourceSeries // by collector

	finished    []finishedRun
	runsChanged bool
	recording   *run.Run // the run that was recording at the last scrape

	sweepTime *prometheus.Desc
}

// New makes the metrics of an agent. health may be nil.
func New(source Source, health func() []collectors.Health, build Build) *Metrics {
	m := &Metrics{
		registry: prometheus.NewRegistry(), source: source, health: health, families: newFamilies(),
		energies: map[run.Cell]*energySeries{}, sources: map[string]*sourceSeries{},
		sweepTime: prometheus.NewDesc("sweepd_sweep_duration_seconds", "Time that sweeps took.", nil, nil),
	}
	info := prometheus.NewGauge(prometheus.GaugeOpts{Name: "sweepd_build_info", Help: "1, with the version of this program.",
		ConstLabels: prometheus.Labels{"version": build.Version, "revision": build.Revision, "goversion": build.GoVersion}})
	info.Set(1)
	m.events = source.Subscribe(m.onEvent)
	m.registry.MustRegister(m, info, newFootprint())
	return m
}

// Gatherer gives the metrics to whoever does not scrape over HTTP.
func (m *Metrics) Gatherer() prometheus.Gatherer { return m.registry }

// Handler answers a scrape. It does not compress: that takes several times as
// long as all the rest (BenchmarkScrape), to save four kilobytes a scrape on the
// way to a neighbour.
func (m *Metrics) Handler() http.Handler {
	return promhttp.HandlerFor(m.registry, promhttp.HandlerOpts{EnableOpenMetrics: true, DisableCompression: true})
}

// Describe implements prometheus.Collector.
func (m *Metrics) Describe(ch chan<- *prometheus.Desc) {
	for _, f := range m.families.list {
		f.Describe(ch)
	}
	ch <- m.sweepTime
}

// Collect implements prometheus.Collector: it first updates every series to the agent's
// latest sweep and event.
func (m *Metrics) Collect(ch chan<- prometheus.Metric) {
	m.events.Flush()
	m.mu.Lock()
	defer m.mu.Unlock()
	m.source.Snapshot(&m.snap)
	if m.snap.Sweeps > 0 {
		m.updateCurrent()
		m.updateEnergies()
	}
	m.updateRuns()
	m.updateSources()
	for _, f := range m.families.list {
		f.Collect(ch)
	}
	ch <- prometheus.MustNewConstSummary(m.sweepTime, m.snap.Sweeps, m.snap.SweepSeconds, nil)
}

// sourceSeries are the series of one collector.
type sourceSeries struct {
	up     prometheus.Gauge
	errors counter
}

// updateSources updates the series of the collectors, of which there are always the
// same.
func (m *Metrics) updateSources() {
	if m.health == nil {
		return
	}
	for _, h := range m.health() {
		s := m.sources[h.Name]
		if s == nil {
			s = &sourceSeries{m.families.up.WithLabelValues(h.Name), counter{child: m.families.errors.WithLabelValues(h.Name)}}
			m.sources[h.Name] = s
		}
		s.up.Set(oneIf(h.Up))
		s.errors.raiseTo(float64(h.Errors))
	}
}
