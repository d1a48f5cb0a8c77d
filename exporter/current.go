package exporter

import (
	"cmp"
	"math"

	"sweepd/agent"
	"sweepd/run"
)

// currentSeries are the gauges of the label set in force.
type currentSeries struct {
	cell    run.Cell
	sensors int

	discharge, charge, online, setting, active gauge
	temperatures                               []sensorGauge
	powers                                     []powerGauge
}

// sensorGauge shows the reading at a position of the sweep.
type sensorGauge struct {
	gauge
	at int
}

// powerGauge shows the power of a domain.
type powerGauge struct {
	gauge
	domain agent.Domain
}

// followCurrent sets the gauges of the label set in force; those of another one
// before it vanish, since they say nothing about now.
func (m *Metrics) followCurrent() {
	s := &m.snap
	if cell := s.Current.Cell(); m.current == nil || m.current.cell != cell || m.current.sensors != len(s.Sensors) {
		m.families.forgetCurrent()
		m.current = m.newCurrent(cell, labelValues(s.Current))
	}
	c := m.current
	c.discharge.set(s.DischargeWatts)
	c.charge.set(s.ChargeRatio)
	if s.Current.Supply == run.SupplyUnknown {
		c.online.drop()
	} else {
		c.online.set(oneIf(s.Current.Supply == run.Mains))
	}
	c.setting.set(wattsOf(s.Current.Setting.Setting))
	c.active.set(oneIf(s.Recording != nil))
	for i := range c.temperatures {
		t := &c.temperatures[i]
		t.set(s.Values[t.at])
	}
	for i := range c.powers {
		p := &c.powers[i]
		p.set(s.Power[p.domain])
	}
}

func (m *Metrics) newCurrent(cell run.Cell, values []string) *currentSeries {
	f := &m.families
	c := &currentSeries{
		cell: cell, sensors: len(m.snap.Sensors),
		discharge: gauge{vec: f.discharge, values: values},
		charge:    gauge{vec: f.charge, values: values},
		online:    gauge{vec: f.online, values: values},
		setting:   gauge{vec: f.setting, values: values},
		active:    gauge{vec: f.active, values: values},
	}
	for i, name := range temperatureNames(m.snap.Sensors) {
		c.temperatures = append(c.temperatures, sensorGauge{gauge{vec: f.temperature, values: with(values, name)}, i})
	}
	for _, d := range agent.Domains() {
		c.powers = append(c.powers, powerGauge{gauge{vec: f.power, values: with(values, d.String())}, d})
	}
	return c
}

// wattsOf is a setting in watts, NaN where it has a name only.
func wattsOf(s run.Setting) float64 {
	if w, ok := s.Watts(); ok {
		return w
	}
	return math.NaN()
}

func with(values []string, more ...string) []string {
	return append(append(make([]string, 0, len(values)+len(more)), values...), more...)
}

// onlyTemperature names the temperature of a machine that has a single one.
const onlyTemperature = "device"

// temperatureNames gives the positions of the temperatures in a sweep and the
// value of the label "sensor" of each, which is its instance.
func temperatureNames(sensors []run.Sensor) map[int]string {
	names := map[int]string{}
	for i, s := range sensors {
		if s.ID == run.Temperature {
			names[i] = cmp.Or(valid(s.Instance), onlyTemperature)
		}
	}
	return names
}
