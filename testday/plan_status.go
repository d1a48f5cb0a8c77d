package testday

import (
	"context"
	"time"

	"sweepd/run"
	"sweepd/schedule"
)

// PlanStatus is a plan with its progress.
type PlanStatus struct {
	ID        int64         `json:"id"`
	CreatedAt run.Timestamp `json:"created_at"`
	Seed      uint64        `json:"seed"`
	Hard      []string      `json:"hard"`
	schedule.Progress
}

// ShowPlan says how far the plan in force has come.
var ShowPlan = &Operation[DeviceRequest, PlanStatus]{
	About{Method: "GET", Path: "/plan", Summary: "Says what of the plan is done, left and to be repeated, and when it will end."},
	func(ctx context.Context, d *Day, q DeviceRequest) (s PlanStatus, err error) {
		p, err := ReadPlanOf(ctx, d.Store, q.Device)
		if err != nil {
			return s, err
		}
		return p.Status(q.Device, d.Now), nil
	},
}

// WritePlan writes the plan in force as a table.
var WritePlan = &Operation[DeviceRequest, Nothing]{
	About{Method: "GET", Path: "/plan.csv", Summary: "Gives the plan as a table, which a new plan can be made of.", Gives: "text/csv; charset=utf-8"},
	func(ctx context.Context, d *Day, q DeviceRequest) (n Nothing, err error) {
		p, err := ReadPlanOf(ctx, d.Store, q.Device)
		if err != nil {
			return n, err
		}
		return n, p.WriteCSV(d.Out)
	},
}

// Status is how far the plan has come on a device; "" stands for all.
func (p *Plan) Status(device string, now time.Time) PlanStatus {
	hard := p.Hard
	if hard == nil {
		hard = []string{}
	}
	return PlanStatus{p.ID, p.CreatedAt, p.Seed, hard, p.Progress(device, now)}
}
