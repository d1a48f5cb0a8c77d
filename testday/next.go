package testday

import (
	"context"
	"time"

	"sweepd/run"
	"sweepd/schedule"
)

// Next is what the plan wants next.
type Next struct {
	Next      *schedule.SlotProgress `json:"next"` // nil when nothing is left
	Changes   []string               `json:"changes"`
	Left      int                    `json:"left"`
	Recording *schedule.SlotProgress `json:"recording"` // the slot whose run is in progress, nil for none
	Progress  schedule.Counts        `json:"progress"`
}

// DeviceRequest names a device of a plan; "" for all, or the one that the agent watches.
type DeviceRequest struct {
	Device string `json:"device"`
}

// NextRun says what to run next.
var NextRun = &Operation[DeviceRequest, Next]{
	About{Method: "GET", Path: "/plan/next", Summary: "Says what the plan wants next, and what to change by hand for it."},
	func(ctx context.Context, d *Day, q DeviceRequest) (Next, error) {
		return WhatIsNext(ctx, d.Store, q.Device, d.Status, d.Now)
	},
}

// WhatIsNext says which cell of the plan comes next on a device, and what to change by
// hand for it, seen from what a running agent reports on top of what the run before
// had. Without a device it is that of the agent, if the plan has it, else any. now
// asks the agent and may fail where there is none.
func WhatIsNext(ctx context.Context, s Plans, device string, status func() (Status, error), now time.Time) (n Next, err error) {
	p, err := ReadPlanOf(ctx, s, device)
	if err != nil {
		return n, err
	}
	at := p.labelsNow(status)
	if device == "" && p.has(at.Device) {
		device = at.Device
	}
	g := p.Progress(device, now)
	n.Progress, n.Changes, n.Left = g.Counts, []string{}, g.Left
	for i := range g.Slots {
		s := &g.Slots[i]
		if s.Position == g.Next {
			n.Next, n.Changes = s, append(n.Changes, schedule.ManualSteps(at.Cell(), s.Slot)...)
		}
		if s.State == schedule.Recording && n.Recording == nil {
			n.Recording = s
		}
	}
	return n, nil
}

// labelsNow is how the device is set at the moment.
func (p *Plan) labelsNow(status func() (Status, error)) (at run.Labels) {
	if n := len(p.Runs); n > 0 {
		at = p.Runs[n-1].Labels
	}
	s, err := status()
	if err != nil || s.Sweeps == 0 {
		return at
	}
	if at.Device != s.Device {
		at = run.Labels{Device: s.Device}
	}
	at.Supply = s.Supply
	if s.Setting.Known() {
		at.Setting = s.Setting
	}
	return at
}
