package schedule

import (
	"slices"

	"sweepd/analysis"
	"sweepd/run"
)

// Suggestion is what a comparison that cannot tell yet asks of a plan.
type Suggestion struct {
	// Cells are those of the plan that need more runs, Repeats how many each. Both
	// sides of a setting get as many.
	Cells   []run.Cell
	Repeats []int
	// Flagged are cells of the plan where the comparison cannot tell because of a run
	// unlike its repeats, which more runs do not mend.
	Flagged []run.Cell
	// Outside counts the settings where the comparison cannot tell and the plan has
	// no cell of either side.
	Outside int
}

// Suggest says what the comparisons ask for, of each cell the most that any of them
// asks for, at most limit. Where a comparison cannot tell because nothing was
// repeated, and so cannot say how many runs it takes, one more run each is suggested:
// it tells the noise.
func (p *Plan) Suggest(comparisons []analysis.Comparison, limit int) (s Suggestion) {
	cells := p.Cells()
	for _, c := range cells {
		most, flagged := 0, false
		for i := range comparisons {
			more, odd := suggestedRuns(c, &comparisons[i])
			most, flagged = max(most, more), flagged || odd
		}
		switch {
		case most > 0:
			s.Cells, s.Repeats = append(s.Cells, c), append(s.Repeats, min(most, limit))
		case flagged:
			s.Flagged = append(s.Flagged, c)
		}
	}
	for i := range comparisons {
		for _, x := range comparisons[i].Settings {
			isSides := func(c run.Cell) bool { return isSide(c, &comparisons[i]) && isAt(c, x) }
			if isOpen(x) && !slices.ContainsFunc(cells, isSides) {
				s.Outside++
			}
		}
	}
	return s
}

// suggestedRuns is how many more runs of a cell a comparison asks for, and whether a
// run unlike its repeats is what stands in the way.
func suggestedRuns(c run.Cell, x *analysis.Comparison) (more int, flagged bool) {
	if !isSide(c, x) {
		return 0, false
	}
	i := slices.IndexFunc(x.Settings, func(s analysis.SettingComparison) bool { return isAt(c, s) })
	if i < 0 || !isOpen(x.Settings[i]) {
		return 0, false
	}
	at := x.Settings[i]
	if slices.ContainsFunc(x.Flagged, func(f analysis.FlaggedRun) bool { return at.Is(f.SettingW, f.Setting) }) {
		return 0, true
	}
	if at.MoreRuns == nil {
		return 1, false
	}
	return *at.MoreRuns, false
}

// isOpen tells whether runs of both sides leave open who is ahead.
func isOpen(s analysis.SettingComparison) bool {
	return s.Verdict == analysis.VerdictUnclear && s.Shared()
}

// isSide tells whether a cell belongs to one of the sides that are compared.
func isSide(c run.Cell, x *analysis.Comparison) bool {
	a, b := x.Groups()
	group := analysis.Group{Device: c.Device, Workload: c.Workload, Supply: c.Supply, Variant: c.Variant}
	return group == a || group == b
}

func isAt(c run.Cell, s analysis.SettingComparison) bool {
	w, known := c.Setting.Watts()
	if !known {
		return s.Setting == c.Setting.Name() && s.Setting != ""
	}
	return float64(s.SettingW) == w
}
