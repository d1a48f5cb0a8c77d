package testday

import (
	"math"

	"sweepd/report"
	"sweepd/run"
)

// listedRuns are the runs of records, as a list of runs has them.
func listedRuns(records []run.Record) []run.Run {
	runs := make([]run.Run, len(records))
	for i := range records {
		runs[i] = records[i].Run
		runs[i].Discharge, runs[i].Facts = nil, nil
	}
	return runs
}

// measured is what the sensors of runs measured besides watts, by id, of those that have
// any of it.
func measured(records []run.Record) map[string]report.Measured {
	out := map[string]report.Measured{}
	for i := range records {
		d := &records[i]
		m := report.Measured{Temperature: math.NaN(), Clock: meanOf(d.Summaries, run.CPUFrequency, 1e-9), Fan: meanOf(d.Summaries, run.FanSpeed, 60)}
		m.TemperatureOf, m.Temperature = temperatureOf(d.Summaries)
		if !math.IsNaN(m.Temperature) || !math.IsNaN(m.Clock) || !math.IsNaN(m.Fan) {
			out[d.ID] = m
		}
	}
	return out
}

// meanOf is the mean over all sensors of an id, times a factor; NaN without any.
func meanOf(list []run.Summary, id string, factor float64) float64 {
	sum, n := 0.0, 0.0
	for i := range list {
		if s := &list[i]; s.Sensor == id && s.Mean != nil {
			sum += *s.Mean
			n++
		}
	}
	return factor * sum / n // 0/0 is NaN
}

// temperatureOf is the temperature that the chart of a run would draw first, and what it
// is at; NaN without any.
func temperatureOf(list []run.Summary) (of string, celsius float64) {
	var sensors []run.Sensor
	var means []float64
	for i := range list {
		if s := &list[i]; s.Sensor == run.Temperature && s.Mean != nil {
			sensors = append(sensors, run.Sensor{ID: s.Sensor, Instance: s.Instance})
			means = append(means, *s.Mean)
		}
	}
	lines := temperatures(sensors)
	if len(lines) == 0 {
		return "", math.NaN()
	}
	return lines[0].Name, means[lines[0].sensors[0]]
}
