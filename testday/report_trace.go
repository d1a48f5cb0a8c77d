package testday

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"sweepd/report"
	"sweepd/run"
	"sweepd/store"
)

// tracePanel is where a line of a run's chart belongs.
type tracePanel int

const (
	panelTemperature tracePanel = iota
	panelPower
	panelClock
	panelFan
)

// mostLines is how many lines a panel of a run's chart shows.
const mostLines = 3

// traceLine is one line with the sensors that it is the mean of.
type traceLine struct {
	report.Line
	panel   tracePanel
	sensors []int
	factor  float64
	seen    bool // some value is known
}

func (l *traceLine) add(at float64, values []float64) {
	sum, n := 0.0, 0
	for _, i := range l.sensors {
		if i < len(values) && !math.IsNaN(values[i]) {
			sum, n = sum+values[i], n+1
		}
	}
	v := math.NaN()
	if n > 0 {
		v = l.factor * sum / float64(n)
		l.seen = true
	}
	l.Times, l.Values = append(l.Times, at), append(l.Values, v)
}

// chooseLines picks the sensors that a reader asks for first: the package's, the
// graphics part's and the battery's temperature, their powers and the limit in
// force, the mean clock of the processor and that of the graphics part, the fans.
func chooseLines(t run.Trace) []traceLine {
	sensors := t.Sensors()
	pick := func(panel tracePanel, id string, factor float64, name func(run.Sensor) string) []traceLine {
		var list []traceLine
		for i, s := range sensors {
			if s.ID == id && len(list) < mostLines {
				list = append(list, traceLine{Line: report.Line{Name: name(s)}, panel: panel, sensors: []int{i}, factor: factor})
			}
		}
		return list
	}
	called := func(name string) func(run.Sensor) string {
		return func(run.Sensor) string { return name }
	}
	lines := temperatures(sensors)
	lines = append(lines, firstLine(pick(panelPower, "package_power_watts", 1, called("package")))...)
	lines = append(lines, firstLine(pick(panelPower, "battery_power_watts", 1, called("battery")))...)
	for _, l := range firstLine(pick(panelPower, "power_limit_watts", 1, called("limit"))) {
		l.Steps = true
		lines = append(lines, l)
	}
	if clocks := indices(sensors, "cpu_frequency_hertz"); len(clocks) > 0 {
		name := "CPU"
		if len(clocks) > 1 {
			name = fmt.Sprintf("CPU, mean of %d", len(clocks))
		}
		lines = append(lines, traceLine{Line: report.Line{Name: name}, panel: panelClock, sensors: clocks, factor: 1e-9})
	}
	lines = append(lines, firstLine(pick(panelClock, "gpu_frequency_hertz", 1e-9, called("GPU")))...)
	if fans := indices(sensors, run.FanSpeed); len(fans) > 0 {
		name := "fan"
		if len(fans) > 1 {
			name = fmt.Sprintf("fans, mean of %d", len(fans))
		}
		lines = append(lines, traceLine{Line: report.Line{Name: name}, panel: panelFan, sensors: fans, factor: 60})
	}
	return lines
}

func firstLine(lines []traceLine) []traceLine { return lines[:min(1, len(lines))] }

func indices(sensors []run.Sensor, id string) []int {
	var list []int
	for i, s := range sensors {
		if s.ID == id {
			list = append(list, i)
		}
	}
	return list
}

// temperatures picks up to mostLines temperatures: those whose instance says
// package or cpu, then gpu, then the battery, then any other.
func temperatures(sensors []run.Sensor) []traceLine {
	kinds := []struct{ word, name string }{{"cpu", "CPU"}, {"gpu", "GPU"}, {"bat", "battery"}}
	rank := func(instance string) int {
		for i, k := range kinds {
			if strings.Contains(strings.ToLower(instance), k.word) {
				return i
			}
		}
		return len(kinds)
	}
	found := indices(sensors, "temperature_celsius")
	slices.SortStableFunc(found, func(a, b int) int { return rank(sensors[a].Instance) - rank(sensors[b].Instance) })
	var lines []traceLine
	taken := map[int]bool{}
	for _, i := range found {
		kind := rank(sensors[i].Instance)
		if len(lines) == mostLines || kind < len(kinds) && taken[kind] {
			continue
		}
		taken[kind] = true
		name := sensors[i].Instance
		if kind < len(kinds) {
			name = kinds[kind].name
		}
		lines = append(lines, traceLine{Line: report.Line{Name: name}, panel: panelTemperature, sensors: []int{i}, factor: 1})
	}
	return lines
}

// readTrace reads the course of a run.
func readTrace(ctx context.Context, s store.Readings, id string) (report.Trace, error) {
	t := report.Trace{Run: id}
	trace, err := s.Trace(ctx, id)
	if err != nil {
		return t, err
	}
	lines := chooseLines(trace)
	var start time.Duration
	first := true
	err = trace.Each(func(x run.Sweep) error {
		if first {
			start, first = x.At.Mono, false
		}
		at := (x.At.Mono - start).Seconds()
		for i := range lines {
			lines[i].add(at, x.Values)
		}
		return nil
	})
	if err != nil {
		return t, err
	}
	for i := range lines {
		l := &lines[i]
		if !l.seen {
			continue
		}
		switch l.panel {
		case panelTemperature:
			t.Temperature = append(t.Temperature, l.Line)
		case panelPower:
			t.Power = append(t.Power, l.Line)
		case panelFan:
			t.Fan = append(t.Fan, l.Line)
		default:
			t.Clock = append(t.Clock, l.Line)
		}
	}
	return t, nil
}
