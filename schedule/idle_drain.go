package schedule

import (
	"context"
	"errors"
	"fmt"
	"math"
	"strings"
	"time"

	"sweepd/run"
)

// DrainWorkload is the workload of runs in which an idle device drains its battery.
const DrainWorkload = "idle-drain"

// DrainResult is the result of such a run: mean power from the battery, W.
const DrainResult = "discharge_w"

// DrainAgent is what an idle-drain run asks of the agent; *agent.Agent is one.
type DrainAgent interface {
	Ready(context.Context, run.Want) (run.Readiness, error)
	StartRun(context.Context, run.Start) (run.Run, error)
	StopRun(context.Context, run.Stop) (run.Record, error)
	Live() run.Live
}

// Corrector keeps the result of a run that has ended; the store is one.
type Corrector interface {
	Correct(ctx context.Context, id string, c run.Correction) (run.Record, error)
}

// IdleDrain records an idle device on battery.
type IdleDrain struct {
	Agent    DrainAgent
	Store    Corrector
	Duration time.Duration
	// Reserve is the charge below which the run ends, 0 to 1.
	Reserve float64
}

const drainCheckInterval = 10 * time.Second

// Run records until the Duration is over, the charge is below the reserve, the device is
// plugged in or somebody else stops the run, whichever is first. It returns a text about
// the run. The error wraps ErrLeftOut where the device is not fit to start or is
// recording already.
func (d IdleDrain) Run(ctx context.Context) (string, error) {
	ready, err := d.Agent.Ready(ctx, run.Want{Supply: run.Battery, MinCharge: d.Reserve})
	if err != nil {
		return "", err
	}
	if !ready.Fit {
		return "", fmt.Errorf("%w: %s", ErrLeftOut, reasons(ready))
	}
	r, err := d.Agent.StartRun(ctx, run.Start{Workload: DrainWorkload, Note: "started by the schedule"})
	if errors.Is(err, run.ErrRecording) {
		return "", fmt.Errorf("%w: %w", ErrLeftOut, err)
	}
	if err != nil {
		return "", err
	}
	stopped := fmt.Sprintf("run %s was stopped by somebody else", run.ShortID(r.ID))
	if !d.wait(ctx, r.ID) {
		return stopped, nil
	}
	done := context.WithoutCancel(ctx) // also when the agent ends: the run is over
	detail, err := d.Agent.StopRun(done, run.Stop{Run: r.ID, By: "the schedule"})
	if errors.Is(err, run.ErrEnded) {
		return stopped, nil
	}
	if err != nil {
		return "", err
	}
	text := fmt.Sprintf("run %s, %s", run.ShortID(r.ID), detail.State)
	if detail.Discharge == nil || detail.Discharge.Watts == nil {
		return text + ", discharge unknown", nil
	}
	w := *detail.Discharge.Watts
	result := run.NewResult{Result: run.Result{Value: w, Unit: "W", Better: run.Lower}}
	_, err = d.Store.Correct(done, r.ID, run.Correction{Results: map[string]run.NewResult{DrainResult: result}, At: time.Now()})
	return fmt.Sprintf("%s, %.2f W", text, w), err
}

func reasons(r run.Readiness) string {
	list := make([]string, len(r.Reasons))
	for i, f := range r.Reasons {
		list[i] = f.Text
	}
	return strings.Join(list, "; ")
}

// wait waits for the end of the run; ours is false where somebody else stopped it.
func (d IdleDrain) wait(ctx context.Context, id string) (ours bool) {
	end := time.NewTimer(d.Duration)
	defer end.Stop()
	check := time.NewTicker(drainCheckInterval)
	defer check.Stop()
	for over := false; ; {
		s := d.Agent.Live()
		if s.Recording == nil || s.Recording.ID != id {
			return false
		}
		if over || s.Current.Supply == run.Mains || !math.IsNaN(s.ChargeRatio) && s.ChargeRatio < d.Reserve {
			return true
		}
		select {
		case <-end.C:
			over = true
		case <-check.C:
		case <-ctx.Done():
			over = true
		}
	}
}
