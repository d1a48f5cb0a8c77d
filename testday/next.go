package testday

import (
	"context"
	"time"

	"sweepd/run"
	"sweepd/schedule"
)

// Next is what the plan wants next.
type Next struct {
	Next     *schedule.SlotProgress `json:"next"` // nil when nothing is left
	Changes  []string               `json:"changes"`
	Left     int                    `json:"left"`
	Progress schedule.Progress      `json:"-"`
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
	n.Progress = p.Progress(device, now)
	n.Changes, n.Left = []string{}, n.Progress.Left
	for i := range n.Progress.Slots {
		if s := &n.Progress.Slots[i]; s.Position == n.Progress.Next {
			n.Next, n.Changes = s, append(n.Changes, schedule.ManualSteps(at.Cell(), s.Slot)...)
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

// Recording is the slot whose run is in progress, nil for none.
func (n Next) Recording() *schedule.SlotProgress {
	for i := range n.Progress.Slots {
		if s := &n.Progress.Slots[i]; s.State == schedule.Recording {
			return s
		}
	}
	return nil
}
