package exporter

import "sweepd/run"

// currentSeries are the gauges of the label set in force.
type currentSeries struct {
	cell    run.Cell
	sensors int
	gauges  []currentGauge
}

type currentGauge struct {
	gauge
	sample
}

// updateCurrent sets the gauges of the label set in force. Those of an earlier label set
// are not exposed any more.
func (m *Metrics) updateCurrent() {
	s := &m.snap
	if cell := s.Current.Cell(); m.current == nil || m.current.cell != cell || m.current.sensors != len(s.Sensors) {
		m.current = m.newCurrent(cell, len(s.Sensors), labelValues(s.Current))
	}
	for i := range m.current.gauges {
		g := &m.current.gauges[i]
		g.set(g.value(s))
	}
}

func (m *Metrics) newCurrent(cell run.Cell, sensors int, values []string) *currentSeries {
	for _, x := range gauges {
		m.families.gauges[x].Reset()
	}
	c := &currentSeries{cell: cell, sensors: sensors}
	for _, x := range samplesOf(m.snap.Sensors) {
		all := values
		if x.metric.label != "" {
			all = appended(values, x.labelValue)
		}
		c.gauges = append(c.gauges, currentGauge{gauge{vec: m.families.gauges[x.metric], values: all}, x})
	}
	return c
}

func appended(values []string, more ...string) []string {
	return append(append(make([]string, 0, len(values)+len(more)), values...), more...)
}
