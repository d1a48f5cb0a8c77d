package testday

import (
	"cmp"
	"context"
	"errors"
	"slices"
	"time"

	"sweepd/run"
	"sweepd/store"
)

// Overview is how a test day stands, on one screen.
type Overview struct {
	Asked    string `json:"asked"`     // whom commands ask: "agent" or "folder"
	Data     string `json:"data"`      // folder that runs are kept in
	DataFrom string `json:"data_from"` // who says so

	AgentURL   string  `json:"agent_url"`
	Agent      *Status `json:"agent"`       // nil where none answers
	AgentError string  `json:"agent_error"` // why

	PackageWatts *float64      `json:"package_watts"`
	Temperatures []Temperature `json:"temperatures"` // the hottest first
	ElapsedS     *float64      `json:"elapsed_s"`    // of the run in progress
	HandsOff     *HandsOff     `json:"hands_off"`    // the day without hands that goes on; nil for none

	Standing
}

// Temperature is what one sensor measures, °C.
type Temperature struct {
	Instance string  `json:"instance"`
	Celsius  float64 `json:"celsius"`
}

// overviewOf is how far back an Overview looks for what needs a look.
const overviewOf = 24 * time.Hour

// AddAgent tells what a running agent says.
func (o *Overview) AddAgent(s Status, sensors []SensorRow) {
	o.Agent = &s
	if r := s.Recording; r != nil && !r.StartedAt.IsZero() && !s.Now.IsZero() {
		o.ElapsedS = new(s.Now.Sub(r.StartedAt.Time).Seconds())
	}
	for _, row := range sensors {
		switch {
		case row.Value == nil:
		case row.Sensor == run.PackagePower:
			o.PackageWatts = row.Value
		case row.Sensor == run.Temperature:
			o.Temperatures = append(o.Temperatures, Temperature{row.Instance, *row.Value})
		}
	}
	slices.SortStableFunc(o.Temperatures, func(x, y Temperature) int { return cmp.Compare(y.Celsius, x.Celsius) })
}

// Standing is how the runs of the last 24 hours and the plan stand.
type Standing struct {
	Next   *Next    `json:"next"`   // what the plan wants next; nil without a plan
	Runs   int      `json:"runs"`   // of the last 24 hours
	Doubts []*Doubt `json:"doubts"` // that need a look, of these runs
}

// DayStands says how the test day stands, by what is kept.
var DayStands = &Operation[Nothing, Standing]{
	About{Method: "GET", Path: "/standing", Summary: "Says how the runs of the last 24 hours and the plan stand."},
	func(ctx context.Context, d *Day, _ Nothing) (x Standing, err error) {
		runs, err := d.Store.Runs(ctx, store.Filter{Since: d.Now.Add(-overviewOf)})
		if err != nil {
			return x, err
		}
		x.Runs, x.Doubts = len(runs), Doubts(runs)
		next, err := WhatIsNext(ctx, d.Store, "", d.Status, d.Now)
		switch {
		case errors.Is(err, store.ErrNoPlan):
			return x, nil
		case err != nil:
			return x, err
		}
		x.Next = &next
		return x, nil
	},
}
