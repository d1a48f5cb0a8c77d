package testday

import (
	"context"

	"sweepd/analysis"
	"sweepd/run"
	"sweepd/store"
)

// Extension is what was appended to a plan.
type Extension struct {
	Plan  Plan
	Cells int // that were looked at
	Added int // runs
	// Flagged and Outside say where the comparison cannot tell and nothing was added,
	// see schedule.Suggestion.
	Flagged []run.Cell
	Outside int
}

// ExtendByPasses appends passes over all cells to the plan in force.
func ExtendByPasses(ctx context.Context, s Plans, passes int) (x Extension, err error) {
	if x.Plan, err = ReadPlan(ctx, s); err != nil {
		return x, err
	}
	cells := x.Plan.Cells()
	repeats := make([]int, len(cells))
	for i := range repeats {
		repeats[i] = passes
	}
	return x, x.add(ctx, s, cells, repeats)
}

// ExtendByComparison appends runs to the plan in force where a comparison of the runs so far
// cannot tell yet: as many as each side lacks, at most so many of each cell.
func ExtendByComparison(ctx context.Context, s Plans, f store.Filter, q analysis.CompareRequest, lower []string, most int) (x Extension, err error) {
	if x.Plan, err = ReadPlan(ctx, s); err != nil {
		return x, err
	}
	runs, _, err := s.AnalysisRuns(ctx, f)
	if err != nil {
		return x, err
	}
	preferLower(runs, lower)
	result, err := analysis.Compare(runs, q)
	if err != nil {
		return x, err
	}
	suggested := x.Plan.Suggest(result.Comparisons, most)
	x.Flagged, x.Outside = suggested.Flagged, suggested.Outside
	return x, x.add(ctx, s, suggested.Cells, suggested.Repeats)
}

func (x *Extension) add(ctx context.Context, s Plans, cells []run.Cell, repeats []int) error {
	before := len(x.Plan.Slots)
	x.Cells, x.Added = len(cells), x.Plan.Extend(cells, repeats, x.Plan.Estimates)
	if x.Added == 0 {
		return nil
	}
	return s.ExtendPlan(ctx, x.Plan.Plan, before)
}
