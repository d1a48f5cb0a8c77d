package testday

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"sweepd/judge"
	"sweepd/run"
	"sweepd/store"
)

// TrimRequest asks for a run's watts to be those up to a moment.
type TrimRequest struct {
	ID string `json:"id"` // any part that only one run has, or "last"
	// End is that moment: "95s" after the start, "-12s" before the end. Empty: where the
	// load ended.
	End  string `json:"end"`
	Undo bool   `json:"undo"` // the run's watts are those of all of it again
	Why  string `json:"why"`
	Who  string `json:"who"` // typed it, as the system calls them; empty means ByAPI
}

// TrimRun has the watts and the duration of a run be those up to a moment, or takes that
// back. Results and summaries stay as they are.
var TrimRun = &Operation[TrimRequest, run.Record]{
	About{Method: "POST", Path: "/runs/{id}/trim", Summary: "Lets a run's watts count up to a moment alone.", Needs: NeedsRight, Opens: OpensToWrite},
	func(ctx context.Context, d *Day, q TrimRequest) (r run.Record, err error) {
		err = d.Publish(func() (run.Event, error) {
			r, err = Trim(ctx, d.Store, q, d.Now)
			return run.Event{Kind: run.RunCorrected, Run: r.Run}, err
		})
		return r, err
	},
}

// Trim does what TrimRun does.
func Trim(ctx context.Context, s Corrections, q TrimRequest, now time.Time) (run.Record, error) {
	d, err := s.Run(ctx, q.ID)
	if err != nil {
		return d, err
	}
	q.Who = cmp.Or(q.Who, ByAPI)
	if q.Undo {
		if q.End != "" {
			return d, requestError(errors.New("an end and taking it back at once: give one of them"))
		}
		return trim(ctx, s, d, run.Untrim, wholeOf(&d), "", q.Why, q.Who, now)
	}
	if d.State == run.Recording {
		return d, fmt.Errorf("run %s: %w", run.ShortID(d.ID), store.ErrStillRecording)
	}
	end, err := trimEnd(&d, q.End)
	if err != nil {
		return d, err
	}
	return trim(ctx, s, d, run.Trim, end, fmt.Sprintf("its watts are those up to %.1f s", end), q.Why, q.Who, now)
}

// wholeOf is how long a run was recorded, s.
func wholeOf(d *run.Record) float64 {
	if d.WholeS != nil {
		return *d.WholeS
	}
	return d.Seconds()
}

// trimEnd is where a run is to be cut, s after its start.
func trimEnd(d *run.Record, text string) (float64, error) {
	const how = "give --end -12s for 12 s before the stop, or --end 95s after the start"
	whole := wholeOf(d)
	if text = strings.TrimSpace(text); text == "" {
		if d.LoadEndS == nil {
			return 0, fmt.Errorf("run %s was not found idle at its end, so where to cut it must be said: %s", run.ShortID(d.ID), how)
		}
		return *d.LoadEndS, nil
	}
	end, err := run.ParseNumber(strings.TrimSpace(strings.TrimSuffix(text, "s")))
	if err != nil {
		var t time.Duration
		if t, err = time.ParseDuration(text); err != nil {
			return 0, requestError(fmt.Errorf("end %q is no time: %s", run.Shorten(text), how))
		}
		end = t.Seconds()
	}
	if strings.HasPrefix(text, "-") {
		end += whole
	}
	if !(end > 0 && end < whole) {
		return 0, requestError(fmt.Errorf("end %q is not within the run, which lasted %.1f s: %s", run.Shorten(text), whole, how))
	}
	return end, nil
}

// trim computes anew what hangs on where a run ends. decided is what the finding says then;
// "" takes the decision back.
func trim(ctx context.Context, s Corrections, d run.Record, what run.Decision, end float64, decided, why, who string, now time.Time) (run.Record, error) {
	switch {
	case d.State == run.Recording:
		return d, fmt.Errorf("run %s: %w", run.ShortID(d.ID), store.ErrStillRecording)
	case d.KeptIn != "":
		return d, fmt.Errorf("run %s is not stored yet: trim it when it is", run.ShortID(d.ID))
	case d.DurationS == nil:
		return d, fmt.Errorf("run %s has no duration that could be cut", run.ShortID(d.ID))
	}
	trace, err := s.Trace(ctx, d.ID)
	if err != nil {
		return d, fmt.Errorf("read the sweeps of run %s: %w", run.ShortID(d.ID), err)
	}
	part, err := judge.Until(d, trace, end, judge.Thresholds{})
	if errors.Is(err, judge.ErrTrim) {
		return d, fmt.Errorf("run %s: no sweeps are stored of its first %.1f s", run.ShortID(d.ID), end)
	}
	if err != nil {
		return d, fmt.Errorf("judge run %s: %w", run.ShortID(d.ID), err)
	}
	c := run.Correction{Decision: what, Why: why, Who: who, At: now}
	if d.LoadEndS != nil {
		f := d.IdleTailFinding(decided)
		c.Findings = map[run.Code]*run.Finding{f.Code: &f}
		part.Findings = replaced(d.Findings, f)
	}
	part.LimitSystemPower()
	c.Trimming = &run.Trimming{EndS: end, PackageW: part.PackageW, SystemW: part.SystemW, Discharge: part.Discharge, Whole: end >= wholeOf(&d)}
	return correct(ctx, s, d.ID, c)
}

// replaced are findings with f in the place of those of its code.
func replaced(list []run.Finding, f run.Finding) []run.Finding {
	out := []run.Finding{f}
	for _, g := range list {
		if g.Code != f.Code {
			out = append(out, g)
		}
	}
	return out
}

// keepTail keeps a run whole that was idle at its end, and is not set aside otherwise.
func keepTail(ctx context.Context, s Corrections, d run.Record, why string, now time.Time) (run.Record, error) {
	return trim(ctx, s, d, run.Trim, wholeOf(&d), "kept whole: "+why, why, "", now)
}
