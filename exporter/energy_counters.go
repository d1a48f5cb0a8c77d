package exporter

import (
	"github.com/prometheus/client_golang/prometheus"

	"sweepd/agent"
)

// energySeries are the energy counters of one label set.
type energySeries struct {
	values   []string
	counters map[agent.Domain]*counter
	inUse    bool // the agent still has the label set
}

// updateEnergies raises the counters to the agent's totals and drops those of label sets
// that the agent no longer has.
func (m *Metrics) updateEnergies() {
	for _, e := range m.energies {
		e.inUse = false
	}
	for _, e := range m.snap.Energies {
		cell := e.Labels.Cell()
		s := m.energies[cell]
		if s == nil {
			s = &energySeries{values: labelValues(e.Labels), counters: map[agent.Domain]*counter{}}
			m.energies[cell] = s
		}
		s.inUse = true
		s.update(e, m.families.energy)
	}
	for cell, e := range m.energies {
		if !e.inUse {
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
