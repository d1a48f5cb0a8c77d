package testday

import (
	"cmp"
	"context"
	"fmt"
	"time"

	"sweepd/judge"
	"sweepd/run"
	"sweepd/store"
)

// Corrections finds runs that are kept and changes them.
type Corrections interface {
	store.Runs
	store.AnalysisRuns
	store.Corrector
	store.Readings
}

// ResultRules are what the configuration says of results.
type ResultRules struct {
	Lower []string // those of which less is better, unless said
	// FramesShort is the share of a run that its frame times should cover; 0 means
	// judge.DefaultFramesShort.
	FramesShort float64
}

// Correct adds results to a run or corrects them, all or none, and returns the run as
// it is then. id is any part that only one run has, or "last". framed is
// what the frame times cover of which results are made; nil for none: the run is then
// found short of frames, or no longer. who typed it, as the system calls them; "" unknown.
func Correct(ctx context.Context, s Corrections, id string, list Results, framed *FrameResults, rules ResultRules, who string, now time.Time) (run.Record, error) {
	directed, err := list.WithDirections(rules.Lower)
	if err != nil {
		return run.Record{}, err
	}
	d, err := s.Run(ctx, id)
	if err != nil {
		return d, err
	}
	c := run.Correction{Results: corrected(directed, list, d.Results), Who: who, At: now}
	if framed != nil {
		if err := framed.checkFit(d.DurationS); err != nil {
			return d, &UnfitError{fmt.Sprintf("run %s: %v", run.ShortID(d.ID), err)}
		}
		c.Findings = map[run.Code]*run.Finding{run.FramesShort: nil}
		if f, short := judge.CheckFrames(framed.FramesS, loaded(&d), rules.FramesShort); short {
			c.Findings[run.FramesShort] = &f
		}
	}
	return correct(ctx, s, d.ID, c)
}

// corrected are results that were given to a run that has some: where their direction was
// open, or they were given without a unit, it keeps the one it has.
func corrected(directed, given Results, has map[string]run.Result) map[string]run.NewResult {
	list := map[string]run.NewResult{}
	for name, r := range directed {
		r.Unit = cmp.Or(r.Unit, has[name].Unit)
		list[name] = run.NewResult{Result: r, KeepBetter: given[name].Better == ""}
	}
	return list
}

func correct(ctx context.Context, s Corrections, id string, c run.Correction) (run.Record, error) {
	d, err := s.Correct(ctx, id, c)
	return complete(d), err
}

// loaded is how long the workload of a run can have run, s: until it was idle for good.
func loaded(d *run.Record) *float64 {
	if d.LoadEndS != nil {
		return d.LoadEndS
	}
	return d.DurationS
}
