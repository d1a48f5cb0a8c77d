package main

import (
	"sweepd/console"
	"sweepd/report/text"
)

// printSensors prints the sensors of a machine and what is missing.
func (a *app) printSensors(rows []console.SensorRow) error {
	p := a.printer()
	t := text.Table{Columns: []text.Column{
		{Head: "sensor", Least: 22}, {Head: "instance", Least: 8}, {Head: "value", Right: true}, {Head: "read µs", Right: true},
		{Head: "new every s", Right: true}, {Head: "source", Below: true},
	}}
	var missing []console.SensorRow
	for _, r := range rows {
		if r.Missing != "" {
			missing = append(missing, r)
		}
		if r.Sensor == "" {
			continue
		}
		value := figure(r.Value)
		if r.Value != nil {
			value.Text = text.WithUnit(*r.Value, r.Unit)
		}
		t.Row(text.Cell{Text: r.Sensor}, text.Cell{Text: r.Instance}, value, figure(r.ReadUs), figure(r.RefreshS), text.Cell{Text: r.Source})
	}
	p.table(&t)
	if len(missing) > 0 {
		p.line("\nmissing")
	}
	for _, r := range missing {
		what := r.Source
		if r.Sensor != "" {
			what = r.Sensor + " " + r.Instance + ", " + r.Source
		}
		p.sentence("  "+what+": "+r.Missing, "    ", text.Plain)
	}
	return p.err
}
