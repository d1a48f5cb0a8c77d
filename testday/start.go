package testday

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"sweepd/run"
	"sweepd/schedule"
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
}

// Start reads the request.
func (q StartRequest) Start() (run.Start, error) {
	s := run.Start{Workload: q.Workload, Variant: q.Variant, Note: q.Note, Typed: q.Conditions}
	if err := s.Check(); err != nil || q.Setting == "" {
		return s, requestError(err)
	}
	var err error
	s.Setting, err = ParseSetting(q.Setting)
	return s, err
}

// Start starts a run. Of its findings those are left out that the person was told
// before, by what Ready gave as reasons; of its facts those are given that a person types.
func Start(ctx context.Context, a Agent, s run.Start, told []run.Finding) (run.Run, error) {
	r, err := a.StartRun(ctx, s)
	typed := typedFacts(r.Facts)
	r = listed(r)
	if len(typed) > 0 {
		r.Facts = typed
	}
	r.Findings = slices.DeleteFunc(slices.Clone(r.Findings), func(f run.Finding) bool {
		return slices.ContainsFunc(told, func(g run.Finding) bool { return g.Code == f.Code })
	})
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
		return NextStart{StartRequest{Workload: start.Workload, Setting: start.Setting.String(), Variant: start.Variant, Note: start.Note}, want}, err
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
	start = run.Start{Workload: slot.Workload, Setting: slot.Setting, Variant: slot.Variant, Note: note}
	return start, wantOf(slot), start.Check()
}

// wantOf is what a run of a slot needs, with the setting that it will declare.
func wantOf(slot schedule.Slot) run.Want {
	want := slot.Want()
	want.Setting = slot.Setting
	return want
}

// readyPause is the time between two questions of WaitReady: a device cools down
// over minutes.
const readyPause = 2 * time.Second

// WaitReady waits until the device is fit to start a run with such needs. It calls
// tell with the reasons each time that it is not.
func WaitReady(ctx context.Context, a Agent, w run.Want, tell func(run.Readiness)) error {
	for {
		r, err := a.Ready(ctx, w)
		if err != nil || r.Fit {
			return err
		}
		tell(r)
		select {
		case <-time.After(readyPause):
		case <-ctx.Done():
			return fmt.Errorf("no run was started: %w", ctx.Err())
		}
	}
}

// Ready tells whether the device is fit to start a run with such needs.
func Ready(ctx context.Context, a Agent, w run.Want) (run.Readiness, error) {
	r, err := a.Ready(ctx, w)
	if r.Reasons == nil {
		r.Reasons = []run.Finding{}
	}
	return r, err
}

// ReadySentence says whether a device is fit to start, and why not.
func ReadySentence(r run.Readiness) string {
	if !r.Fit {
		return "not fit to start: " + ReasonsSentence(r)
	}
	switch {
	case r.Celsius != nil && r.AboveBaseline != nil && *r.AboveBaseline >= 0:
		return fmt.Sprintf("fit to start: %.1f °C, %.1f K above its idle baseline", *r.Celsius, *r.AboveBaseline)
	case r.Celsius != nil && r.AboveBaseline != nil:
		return fmt.Sprintf("fit to start: %.1f °C, %.1f K below its idle baseline", *r.Celsius, -*r.AboveBaseline)
	}
	return "fit to start (its idle temperature is not known yet)"
}

// ReasonsSentence says why a device is not fit to start.
func ReasonsSentence(r run.Readiness) string {
	texts := make([]string, len(r.Reasons))
	for i, f := range r.Reasons {
		texts[i] = f.WithAdvice()
	}
	return strings.Join(texts, "; ")
}

// StartWarnings are the sentences that somebody who has just started a run should
// read: what the agent doubts already.
func StartWarnings(r run.Run) []string {
	var warnings []string
	for _, f := range r.Findings {
		if f.Severity != run.SeverityNote {
			warnings = append(warnings, f.WithAdvice())
		}
	}
	return warnings
}
