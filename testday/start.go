package testday

import (
	"context"
	"fmt"
	"time"

	"sweepd/run"
	"sweepd/store"
)

// StartRequest is what a person says when starting a run. Setting is as it is typed
// ("25W", "quiet"); empty means the one declared before, or the one read.
type StartRequest struct {
	Workload string      `json:"workload"`
	Setting  string      `json:"setting,omitempty"`
	Variant  run.Variant `json:"variant,omitempty"`
	Note     string      `json:"note,omitempty"`
	// Conditions are facts that few systems tell, see run.Typed. They hold for the runs
	// after this one too.
	Conditions run.Typed `json:"conditions,omitempty"`
	By         string    `json:"by,omitempty"` // what asks for it; empty: ByAPI
	// StopAfterS is the time after which the agent stops the run, s; 0: it is stopped by
	// hand.
	StopAfterS float64 `json:"stop_after_s,omitempty"`
}

// Start reads the request.
func (q StartRequest) Start() (run.Start, error) {
	s := run.Start{Workload: q.Workload, Variant: q.Variant, Note: q.Note, By: declaredBy(q.By), Typed: q.Conditions}
	if err := s.Check(); err != nil || q.Setting == "" {
		return s, requestError(err)
	}
	var err error
	s.Setting, err = ParseSetting(q.Setting)
	return s, err
}

// Start starts a run. Of its facts those are given that a person types.
func Start(ctx context.Context, a Agent, s run.Start) (run.Run, error) {
	r, err := a.StartRun(ctx, s)
	typed := typedFacts(r.Facts)
	r = listed(r)
	if len(typed) > 0 {
		r.Facts = typed
	}
	return r, err
}

// FreeToRecord is the status of an agent that records no run; it fails while one is
// recording.
func FreeToRecord(ctx context.Context, a Agent) (Status, error) {
	s, err := a.Status(ctx)
	if err == nil && s.Recording != nil {
		err = fmt.Errorf("run %s of %q is still recording: stop it first", run.ShortID(s.Recording.ID), s.Recording.Workload)
	}
	return s, err
}

// NextStart is a run of the plan's next cell, and what it needs of the device.
type NextStart struct {
	Start StartRequest `json:"start"`
	Want  run.Want     `json:"want"`
}

// NextStartRequest asks for a run of the plan's next cell on a device.
type NextStartRequest struct {
	Device string `json:"device"`
	Note   string `json:"note"`
}

// PlanNextStart gives the run of the plan's next cell.
var PlanNextStart = &Operation[NextStartRequest, NextStart]{
	About{Method: "GET", Path: "/plan/next/start", Summary: "Gives the run of the plan's next cell, as it is started, and what it needs of the device."},
	func(ctx context.Context, d *Day, q NextStartRequest) (n NextStart, err error) {
		start, want, err := StartOfNext(ctx, d.Store, q.Device, q.Note, d.Now)
		return NextStart{StartRequest{Workload: start.Workload, Setting: start.Setting.String(), Variant: start.Variant, Note: start.Note, By: start.By}, want}, err
	},
}

// StartOfNext is a run of the plan's next cell on a device, and what it needs of the
// device.
func StartOfNext(ctx context.Context, s Plans, device, note string, now time.Time) (start run.Start, want run.Want, err error) {
	p, err := ReadPlan(ctx, s)
	if err != nil {
		return start, want, fmt.Errorf("no label was given, and %w", err)
	}
	g := p.Progress(device, now)
	if g.Next == 0 {
		return start, want, fmt.Errorf("no label was given, and the plan has nothing left for %s", device)
	}
	slot := p.Plan.Slots[g.Next-1]
	start = run.Start{Workload: slot.Workload, Setting: slot.Setting, Variant: slot.Variant, Note: note, By: ByPlan}
	return start, slot.Want(), start.Check()
}

// WantOf is what a run that a person asks for needs of the device.
func WantOf(s run.Start) run.Want {
	return run.Want{Setting: s.Setting, Workload: s.Workload, Variant: s.Variant}
}

// earlierStarts is of how many starts it is told what is usual.
const earlierStarts = 9

// EarlierStarts are the latest runs of a cell or, where there are none, of its workload
// on the device.
func EarlierStarts(ctx context.Context, s store.Runs, c run.Cell) ([]run.Record, error) {
	f := store.Filter{Device: c.Device, Workload: c.Workload, Supply: c.Supply, Setting: c.Setting, Variant: c.Variant, State: run.Finished, Limit: earlierStarts}
	list, err := s.Records(ctx, f)
	if err != nil || len(list) > 0 {
		return list, err
	}
	return s.Records(ctx, store.Filter{Device: c.Device, Workload: c.Workload, State: run.Finished, Limit: earlierStarts})
}
