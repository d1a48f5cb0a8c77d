package testday

import (
	"context"
	"fmt"
	"maps"
	"slices"

	"sweepd/report"
	"sweepd/run"
)

// mostTraces is how many single runs are drawn unless some are named.
const mostTraces = 12

// traces reads the course of the named runs, else of those with the worst
// findings.
func traces(ctx context.Context, s Traces, all []run.Run, named []string) ([]report.Trace, error) {
	var ids []string
	for _, name := range named {
		id, err := s.FindRun(ctx, name)
		if err != nil {
			return nil, err
		}
		if !slices.ContainsFunc(all, func(r run.Run) bool { return r.ID == id }) {
			return nil, fmt.Errorf("run %s is not among the selected ones: change --device, --workload, --supply or --variant", id)
		}
		ids = append(ids, id)
	}
	if len(named) == 0 {
		ids = worstRuns(all)
	}
	var list []report.Trace
	for _, id := range ids {
		t, err := readTrace(ctx, s, id)
		if err != nil {
			return nil, err
		}
		list = append(list, t)
	}
	if len(named) > 0 {
		return list, nil
	}
	for _, id := range normalRuns(all) {
		t, err := readTrace(ctx, s, id)
		if err != nil {
			return nil, err
		}
		if t.Normal = true; len(t.Temperature)+len(t.Power)+len(t.Clock)+len(t.Fan) > 0 {
			list = append(list, t)
		}
	}
	return list, nil
}

// mostNormal is of how many devices a normal run is drawn.
const mostNormal = 4

// normalRuns are one run of each device, to show what one looks like to which nothing
// happened: of those that finished without a finding the longest, at the middle of the
// settings that they were made at.
func normalRuns(all []run.Run) []string {
	byDevice := map[string][]run.Run{}
	for i := range all {
		if r := &all[i]; r.State == run.Finished && len(r.Findings) == 0 {
			byDevice[r.Device] = append(byDevice[r.Device], *r)
		}
	}
	var ids []string
	for _, device := range slices.Sorted(maps.Keys(byDevice)) {
		if len(ids) == mostNormal {
			break
		}
		runs := byDevice[device]
		var watts []float64
		for i := range runs {
			if w, ok := runs[i].Setting.Watts(); ok && !slices.Contains(watts, w) {
				watts = append(watts, w)
			}
		}
		slices.Sort(watts)
		best := -1
		for i := range runs {
			w, ok := runs[i].Setting.Watts()
			if ok && w != watts[len(watts)/2] || !ok && len(watts) > 0 {
				continue
			}
			if best < 0 || runs[i].Seconds() > runs[best].Seconds() {
				best = i
			}
		}
		ids = append(ids, runs[best].ID)
	}
	return ids
}

// worstRuns are the runs whose findings weigh most, the worst first; notes alone do
// not make a run worth a picture.
func worstRuns(all []run.Run) []string {
	weight := func(r run.Run) int {
		w := 0
		for _, f := range r.Findings {
			w += map[run.Severity]int{run.SeverityReject: 10000, run.SeverityDoubt: 100, run.SeverityNote: 1}[f.Severity]
		}
		return w
	}
	const least = 100
	found := slices.DeleteFunc(slices.Clone(all), func(r run.Run) bool { return weight(r) < least })
	slices.SortStableFunc(found, func(x, y run.Run) int { return weight(y) - weight(x) })
	var ids []string
	shown := map[run.Code]int{}
	for _, r := range found {
		if code := worstCode(r); len(ids) < mostTraces && shown[code] < mostAlike {
			shown[code]++
			ids = append(ids, r.ID)
		}
	}
	return ids
}

// mostAlike is how many runs with the same finding are drawn: more say nothing new.
const mostAlike = 3

// worstCode is the code of a run's first finding that is more than a note.
func worstCode(r run.Run) run.Code {
	code := run.Code("")
	for _, f := range r.Findings {
		if f.Severity == run.SeverityReject {
			return f.Code
		}
		if f.Severity == run.SeverityDoubt && code == "" {
			code = f.Code
		}
	}
	return code
}
