package testday

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"sweepd/run"
	"sweepd/schedule"
	"sweepd/store"
)

// Plans keeps plans and the runs that they are followed by.
type Plans interface {
	store.Runs
	store.AnalysisRuns
	store.Plans
}

// Plan is a plan with the runs since it was made.
type Plan struct {
	schedule.Plan
	Runs      []run.Run
	Estimates schedule.Estimates
}

// ReadPlan reads the plan in force.
func ReadPlan(ctx context.Context, s Plans) (p Plan, err error) { return readPlan(ctx, s) }

// readPlan reads the plan in force for any of the devices, or of all.
func readPlan(ctx context.Context, s Plans, devices ...string) (p Plan, err error) {
	if p.Plan, err = s.Plan(ctx, devices...); err != nil {
		return p, err
	}
	if p.Estimates, err = estimates(ctx, s, p.UserEstimates); err != nil {
		return p, err
	}
	p.Runs, err = s.Runs(ctx, store.Filter{Since: p.CreatedAt.Time})
	return p, err
}

// ReadPlanOf reads the plan in force for one of its devices. It refuses others, of
// which nothing would seem to be left; "" stands for all.
func ReadPlanOf(ctx context.Context, s Plans, device string) (Plan, error) {
	p, err := ReadPlan(ctx, s)
	if err == nil && device != "" && !p.has(device) {
		err = fmt.Errorf("the plan has no device %q: it has %s", device, strings.Join(p.Devices(), ", "))
	}
	return p, err
}

func (p *Plan) has(device string) bool { return slices.Contains(p.Devices(), device) }

// Progress is how far the plan has come on a device; "" stands for all.
func (p *Plan) Progress(device string, now time.Time) schedule.Progress {
	return p.Plan.Progress(p.Runs, device, p.Estimates, now)
}

// estimates are what the user said of runs and batteries, and what the data says
// where the user did not.
func estimates(ctx context.Context, s Plans, said schedule.Estimates) (schedule.Estimates, error) {
	devices, err := s.Devices(ctx)
	if err != nil {
		return said, err
	}
	var all []run.Record
	for _, d := range devices {
		runs, err := s.Runs(ctx, store.Filter{Device: d.Device, Limit: learnFrom})
		if err != nil {
			return said, err
		}
		last, err := s.Records(ctx, store.Filter{Device: d.Device, Limit: 1})
		if err != nil {
			return said, err
		}
		for _, r := range runs {
			all = append(all, run.Record{Run: r})
		}
		for _, r := range last {
			all[len(all)-1].Facts = r.Facts
		}
	}
	return said.Learn(all), nil
}

// learnFrom is how many of a device's newest runs tell how long runs last and what
// they draw.
const learnFrom = 1000
