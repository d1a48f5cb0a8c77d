package testday

import (
	"context"

	"sweepd/analysis"
	"sweepd/run"
	"sweepd/schedule"
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

// ExtendRequest asks for more runs of the plan in force: so many passes over all cells,
// or as many as a comparison needs, at most so many of each cell.
type ExtendRequest struct {
	CompareRequest
	Repeats int `json:"repeats"` // passes; 0: by comparison
	Most    int `json:"most"`
}

// ExtensionJSON is what was appended to a plan, as JSON has it.
type ExtensionJSON struct {
	Added    int             `json:"added"` // runs
	Cells    int             `json:"cells"` // that were looked at
	Flagged  int             `json:"flagged"`
	Outside  int             `json:"outside"`
	Unlike   []string        `json:"flagged_cells"` // those where a run unlike its repeats stands in the way
	Progress schedule.Counts `json:"progress"`      // of the plan then
}

// ExtendPlan appends runs to the plan in force.
var ExtendPlan = &Operation[ExtendRequest, ExtensionJSON]{
	About{Method: "POST", Path: "/plan/extend", Summary: "Appends passes to the plan: over all cells, or where a comparison cannot tell yet.", Opens: OpensToWrite},
	func(ctx context.Context, d *Day, q ExtendRequest) (a ExtensionJSON, err error) {
		var x Extension
		if q.Repeats > 0 {
			x, err = ExtendByPasses(ctx, d.Store, q.Repeats)
		} else {
			var f store.Filter
			if err = CheckSides(q.Question(), d.Now); err != nil {
				return a, err
			}
			if f, err = q.Filter(d.Now); err == nil {
				x, err = ExtendByComparison(ctx, d.Store, f, q.Question(), d.lower(q.Lower), q.Most)
			}
		}
		if err != nil {
			return a, err
		}
		a = ExtensionJSON{x.Added, x.Cells, len(x.Flagged), x.Outside, []string{}, x.Plan.Progress("", d.Now).Counts}
		for _, c := range x.Flagged {
			a.Unlike = append(a.Unlike, c.String())
		}
		return a, nil
	},
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
