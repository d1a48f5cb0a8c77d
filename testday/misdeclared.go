package testday

import (
	"context"
	"slices"
	"time"

	"sweepd/judge"
	"sweepd/run"
	"sweepd/store"
)

// campaign is the runs of one workload on one device.
type campaign struct{ device, workload string }

// decidable is runs that are kept, and can be set aside.
type decidable interface {
	store.Runs
	store.Corrector
}

// markMisdeclared keeps the finding "setting_disagrees" in step with the settings of its
// campaign: a run whose system reported another of them is set aside, and counts again
// where that is none of them any more. What a person decided stands. It leaves alone the
// runs that nobody can judge: recording, interrupted.
func markMisdeclared(ctx context.Context, s decidable, filter store.Filter, th Thresholds, now time.Time) error {
	runs, err := s.Runs(ctx, filter)
	if err != nil {
		return err
	}
	settings := map[campaign][]run.Setting{}
	for i := range runs {
		r := &runs[i]
		at := campaign{r.Device, r.Workload}
		if r.Setting.Known() && !slices.Contains(settings[at], r.Setting.Setting) {
			settings[at] = append(settings[at], r.Setting.Setting)
		}
	}
	for i := range runs {
		r := &runs[i]
		f, ok := judge.Misdeclared(r, settings[campaign{r.Device, r.Workload}], th)
		if !ok || slices.Contains(r.Findings, f) || r.State != run.Finished && r.State != run.Rejected {
			continue
		}
		if err := markOne(ctx, s, r, f, now); err != nil {
			return err
		}
	}
	return nil
}

// markOne gives a run the finding, and the state that follows from it.
func markOne(ctx context.Context, s decidable, r *run.Run, f run.Finding, now time.Time) error {
	h, err := s.History(ctx, r.ID)
	if err != nil {
		return err
	}
	var reject *run.Finding
	for _, x := range r.Findings {
		if x.Code == f.Code {
			x = f
		}
		if x.Severity == run.SeverityReject && reject == nil {
			reject = &x
		}
	}
	c := run.Correction{At: now, Findings: map[run.Code]*run.Finding{f.Code: &f}}
	decideAgain(&c, r.State, h, reject)
	_, err = s.Correct(ctx, r.ID, c)
	return err
}
