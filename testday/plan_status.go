package testday

import (
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

// Status is how far the plan has come on a device; "" stands for all.
func (p *Plan) Status(device string, now time.Time) PlanStatus {
	hard := p.Hard
	if hard == nil {
		hard = []string{}
	}
	return PlanStatus{p.ID, p.CreatedAt, p.Seed, hard, p.Progress(device, now)}
}
