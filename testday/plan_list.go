package testday

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"sweepd/run"
	"sweepd/schedule"
	"sweepd/store"
)

// PlanSummary is one of the plans that were made.
type PlanSummary struct {
	ID        int64         `json:"id"`
	CreatedAt run.Timestamp `json:"created_at"`
	Devices   []string      `json:"devices"`
	Workloads []string      `json:"workloads"`
	Runs      int           `json:"runs"`
	Done      int           `json:"done"`
	Left      int           `json:"left"`
	InForce   bool          `json:"in_force"` // for one of its devices at least
}

// PlansMade lists the plans that were made.
var PlansMade = &Operation[Nothing, []PlanSummary]{
	About{Method: "GET", Path: "/plans", Summary: "Lists the plans that were made, and how far each has come."},
	func(ctx context.Context, d *Day, _ Nothing) ([]PlanSummary, error) {
		return ListPlans(ctx, d.Store, d.Now)
	},
}

// PlanRef names a plan by its number.
type PlanRef struct {
	ID int64 `json:"id"`
}

// TakeUpPlan takes an earlier plan up again.
var TakeUpPlan = &Operation[PlanRef, PlanStatus]{
	About{Method: "POST", Path: "/plans/{id}/follow", Summary: "Takes an earlier plan up again.", Opens: OpensToWrite},
	func(ctx context.Context, d *Day, q PlanRef) (s PlanStatus, err error) {
		p, err := FollowPlan(ctx, d.Store, q.ID)
		if err != nil {
			return s, err
		}
		return p.Status("", d.Now), nil
	},
}

// ListPlans lists the plans that were made, the oldest first.
func ListPlans(ctx context.Context, s Plans, now time.Time) ([]PlanSummary, error) {
	all, err := s.AllPlans(ctx)
	if err != nil {
		return nil, err
	}
	list := []PlanSummary{}
	for _, p := range all {
		runs, err := s.Runs(ctx, store.Filter{Since: p.CreatedAt.Time})
		if err != nil {
			return nil, err
		}
		g := p.Progress(runs, "", p.UserEstimates, now)
		x := PlanSummary{ID: p.ID, CreatedAt: p.CreatedAt, Devices: p.Devices(), Workloads: []string{}, Runs: len(p.Slots), Done: g.Done, Left: g.Left}
		for _, slot := range p.Slots {
			if !slices.Contains(x.Workloads, slot.Workload) {
				x.Workloads = append(x.Workloads, slot.Workload)
			}
		}
		for _, device := range x.Devices {
			now, err := s.Plan(ctx, device)
			if err != nil {
				return nil, err
			}
			x.InForce = x.InForce || now.ID == p.ID
		}
		list = append(list, x)
	}
	return list, nil
}

// FollowPlan takes an earlier plan up again: runs since it was made count as before. The
// plan that was in force is kept, and can be taken up again in its turn.
func FollowPlan(ctx context.Context, s Plans, id int64) (p Plan, err error) {
	all, err := s.AllPlans(ctx)
	if err != nil {
		return p, err
	}
	i := slices.IndexFunc(all, func(p schedule.Plan) bool { return p.ID == id })
	if i < 0 {
		return p, fmt.Errorf("there is no plan %d: `sweepd plan list` lists them", id)
	}
	p.Plan = all[i]
	now, err := s.Plan(ctx, p.Devices()...)
	switch {
	case err != nil && !errors.Is(err, store.ErrNoPlan):
		return p, err
	case now.ID == id:
		return p, fmt.Errorf("plan %d is in force already", id)
	}
	if _, err = s.NewPlan(ctx, p.Plan); err != nil {
		return p, err
	}
	if p.Estimates, err = estimates(ctx, s, p.UserEstimates); err != nil {
		return p, err
	}
	p.Runs, err = s.Runs(ctx, store.Filter{Since: p.CreatedAt.Time})
	return p, err
}
