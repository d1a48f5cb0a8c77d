package main

import (
	"strings"

	"sweepd/report/sentence"
	"sweepd/report/table"
	"sweepd/report/text"
	"sweepd/testday"
)

// printSensors prints the sensors of a machine and what is missing.
func (a *app) printSensors(rows []testday.SensorRow) error {
	p := a.printer()
	t := table.Table{Columns: []table.Column{
		{Head: "sensor", Least: 22}, {Head: "instance", Least: 8}, {Head: "value", Right: true, Least: 12}, {Head: "read takes", Right: true},
		{Head: "changes every", Right: true}, {Head: "source", Below: true},
	}}
	var missing []testday.SensorRow
	for _, r := range rows {
		if r.Missing != "" {
			missing = append(missing, r)
		}
		if r.Sensor == "" {
			continue
		}
		value := sentence.Dash
		if r.Value != nil {
			value = readingText(r.Sensor, r.Unit, *r.Value)
		}
		t.Row(table.Text(r.Sensor), table.Text(r.Instance), table.Text(value), table.Text(figure(r.ReadUs, "µs")),
			table.Text(figure(r.RefreshS, "s")), table.Text(r.Source))
	}
	p.Table(&t)
	if len(missing) > 0 {
		p.Line("\nmissing")
	}
	for _, r := range missing {
		what := r.Source
		if r.Sensor != "" {
			what = strings.TrimSpace(r.Sensor+" "+r.Instance) + ", " + r.Source
		}
		p.Say("  "+what+": "+r.Missing, "    ", text.Plain)
	}
	return p.Err
}

// figure is a number with its unit, or a dash where it is unknown.
func figure(v *float64, unit string) string {
	if v == nil {
		return sentence.Dash
	}
	return sentence.Significant(*v) + " " + unit
}
