package testday

import (
	"context"
	"fmt"
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
	return list, nil
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
