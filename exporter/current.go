package exporter

import (
	"strconv"

	"sweepd/agent"
	"sweepd/collectors"
)

// currentSeries are the gauges of the label set in force.
type currentSeries struct {
	key     string
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
	values := labelValues(s.Current)
	if key := labelSet(values); m.current == nil || m.current.key != key || m.current.sensors != len(s.Sensors) {
		m.forgetCurrent()
		m.current = m.newCurrent(key, values)
	}
	c := m.current
	c.discharge.set(s.DischargeWatts)
	c.charge.set(s.ChargeRatio)
	if s.Current.Supply == agent.SupplyUnknown {
		c.online.drop()
	} else {
		c.online.set(ratio(s.Current.Supply == agent.Mains))
	}
	c.setting.set(setWatts(s.Current.Setting))
	c.active.set(ratio(s.Recording != nil))
	for i := range c.temperatures {
		t := &c.temperatures[i]
		t.set(s.Values[t.at])
	}
	for i := range c.powers {
		p := &c.powers[i]
		p.set(s.Power[p.domain])
	}
}

func (m *Metrics) forgetCurrent() {
	v := &m.vecs
	v.discharge.Reset()
	v.charge.Reset()
	v.online.Reset()
	v.setting.Reset()
	v.active.Reset()
	v.temperature.Reset()
	v.power.Reset()
}

func (m *Metrics) newCurrent(key string, values []string) *currentSeries {
	v := &m.vecs
	c := &currentSeries{
		key: key, sensors: len(m.snap.Sensors),
		discharge: gauge{vec: v.discharge, values: values},
		charge:    gauge{vec: v.charge, values: values},
		online:    gauge{vec: v.online, values: values},
		setting:   gauge{vec: v.setting, values: values},
		active:    gauge{vec: v.active, values: values},
	}
	for i, name := range temperatureNames(m.snap.Sensors) {
		c.temperatures = append(c.temperatures, sensorGauge{gauge{vec: v.temperature, values: with(values, name)}, i})
	}
	for _, d := range agent.Domains() {
		c.powers = append(c.powers, powerGauge{gauge{vec: v.power, values: with(values, d.String())}, d})
	}
	return c
}

func with(values []string, more ...string) []string {
	return append(append(make([]string, 0, len(values)+len(more)), values...), more...)
}

// temperatureNames gives the positions of the temperatures and the value of the
// label "sensor" of each: its instance, or a number where there is none.
func temperatureNames(sensors []collectors.Sensor) map[int]string {
	names := map[int]string{}
	for i, s := range sensors {
		if s.ID != collectors.Temperature {
			continue
		}
		names[i] = s.Instance
		if s.Instance == "" {
			names[i] = strconv.Itoa(i)
		}
	}
	return names
}
