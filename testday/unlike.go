package testday

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"sweepd/analysis"
	"sweepd/report/sentence"
	"sweepd/run"
	"sweepd/store"
)

// Likes keeps which runs differ from their like.
type Likes interface {
	store.Runs
	store.AnalysisRuns
	store.Corrector
}

// MarkUnlike keeps the findings "setting_disagrees", "outlying" and "conditions_differ" in
// step with the runs of a device and workload: those of r, or of all where it has none. th
// are the thresholds of findings.
func MarkUnlike(ctx context.Context, s Likes, r run.Run, th Thresholds, now time.Time) error {
	filter := store.Filter{Device: r.Device, Workload: r.Workload}
	if err := markMisdeclared(ctx, s, filter, th, now); err != nil {
		return err
	}
	runs, _, err := s.AnalysisRuns(ctx, filter)
	if err != nil {
		return err
	}
	texts := map[string]string{}
	for _, o := range analysis.Outlying(runs) {
		texts[o.ID] = o.String()
	}
	if _, err := s.SetUnlike(ctx, filter, store.Outlying, texts); err != nil {
		return err
	}
	texts = map[string]string{}
	for _, u := range analysis.UnlikeConditions(runs) {
		texts[u.ID] = conditionsText(u)
	}
	_, err = s.SetUnlike(ctx, filter, store.ConditionsDiffer, texts)
	return err
}

// markAround looks again which runs differ from their like where do brought runs of a
// device that had some already, or took some away.
func markAround(ctx context.Context, s Likes, th Thresholds, now time.Time, do func() error) error {
	before, err := s.Devices(ctx)
	if err != nil {
		return store.Stopped(ctx, err)
	}
	if err := do(); err != nil {
		return err
	}
	after, err := s.Devices(ctx)
	if err != nil {
		return err
	}
	for _, d := range after {
		i := slices.IndexFunc(before, func(b store.DeviceRuns) bool { return b.Device == d.Device })
		if i < 0 || before[i].Runs == d.Runs {
			continue
		}
		if err := MarkUnlike(ctx, s, run.Run{Labels: run.Labels{Device: d.Device}}, th, now); err != nil {
			return err
		}
	}
	return nil
}

// markUnlikeOf is MarkUnlike of several runs.
func markUnlikeOf(ctx context.Context, s Likes, runs []run.Run, th Thresholds, now time.Time) error {
	seen := map[[2]string]bool{}
	for _, r := range runs {
		if key := [2]string{r.Device, r.Workload}; !seen[key] {
			seen[key] = true
			if err := MarkUnlike(ctx, s, r, th, now); err != nil {
				return err
			}
		}
	}
	return nil
}

// mostConditions is how many conditions a finding tells in full.
const mostConditions = 4

// conditionsText says what was different about a run.
func conditionsText(u analysis.UnlikeRun) string {
	var parts []string
	for i, c := range u.Conditions {
		if i == mostConditions {
			parts = append(parts, fmt.Sprintf("and %d more", len(u.Conditions)-i))
			break
		}
		parts = append(parts, fmt.Sprintf("%s %s, %s in %s", sentence.FactName(c.Key), sentence.FactValue(c.Key, c.Value),
			sentence.FactValue(c.Key, c.Usual), ofOthers(c.Alike, c.Known)))
	}
	return strings.Join(parts, "; ")
}

// ofOthers names the runs of a cell that are alike.
func ofOthers(alike, others int) string {
	switch {
	case others == 1:
		return "the other run of its cell"
	case alike == others:
		return fmt.Sprintf("the other %d runs of its cell", others)
	}
	return fmt.Sprintf("%d of the other %d runs of its cell", alike, others)
}
