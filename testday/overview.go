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
	Data     string `json:"data"`      // folder that runs are kept in
	DataFrom string `json:"data_from"` // who says so

	AgentURL   string  `json:"agent_url"`
	Agent      *Status `json:"agent"`       // nil where none answers
	AgentError string  `json:"agent_error"` // why

	PackageWatts *float64      `json:"package_watts"`
	Temperatures []Temperature `json:"temperatures"` // the hottest first
	ElapsedS     *float64      `json:"elapsed_s"`    // of the run in progress

	Next   *Next    `json:"next"`   // what the plan wants next; nil without a plan
	Runs   int      `json:"runs"`   // of the last 24 hours
	Doubts []*Doubt `json:"doubts"` // that need a look, of these runs
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

// AddData tells what the data says.
func (o *Overview) AddData(ctx context.Context, s Plans, now time.Time) error {
	runs, err := s.Runs(ctx, store.Filter{Since: now.Add(-overviewOf)})
	if err != nil {
		return err
	}
	o.Runs, o.Doubts = len(runs), Doubts(runs)
	next, err := WhatIsNext(ctx, s, "", func() (Status, error) {
		if o.Agent == nil {
			return Status{}, errors.New("no agent answers")
		}
		return *o.Agent, nil
	}, now)
	switch {
	case errors.Is(err, store.ErrNoPlan):
		return nil
	case err != nil:
		return err
	}
	o.Next = &next
	return nil
}
