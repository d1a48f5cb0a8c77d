package exporter

import (
	"github.com/prometheus/client_golang/prometheus"

	"sweepd/agent"
)

// energySeries are the energy counters of one label set.
type energySeries struct {
	values   []string
	counters map[agent.Domain]*counter
	seen     bool
}

// updateEnergies brings the counters of every label set that is still to be
// seen up to the agent's totals and drops the others.
func (m *Metrics) updateEnergies() {
	for _, e := range m.energies {
		e.seen = false
	}
	for _, e := range m.snap.Energies {
		cell := e.Labels.Cell()
		s := m.energies[cell]
		if s == nil {
			s = &energySeries{values: labelValues(e.Labels), counters: map[agent.Domain]*counter{}}
			m.energies[cell] = s
		}
		s.seen = true
		s.update(e, m.families.energy)
	}
	for cell, e := range m.energies {
		if !e.seen {
			e.drop(m.families.energy)
			delete(m.energies, cell)
		}
	}
}

func (s *energySeries) update(e agent.LabelledEnergy, vec *prometheus.CounterVec) {
	for _, d := range agent.Domains() {
		if !e.Known[d] {
			continue
		}
		c := s.counters[d]
		if c == nil {
			c = &counter{child: vec.WithLabelValues(appended(s.values, d.String())...)}
			s.counters[d] = c
		}
		c.raiseTo(e.Joules[d])
	}
}

func (s *energySeries) drop(vec *prometheus.CounterVec) {
	for d := range s.counters {
		vec.DeleteLabelValues(appended(s.values, d.String())...)
	}
}
