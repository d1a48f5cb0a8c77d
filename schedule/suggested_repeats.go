package schedule

import (
	"slices"

	"sweepd/analysis"
	"sweepd/run"
)

// SuggestedRepeats lists the cells of a plan of which the comparisons ask for more runs,
// and how many: repeats[i] of cells[i], the most that any comparison asks for, at most
// limit. Both sides of a setting get as many.
func (p *Plan) SuggestedRepeats(comparisons []analysis.Comparison, limit int) (cells []run.Cell, repeats []int) {
	for _, c := range p.Cells() {
		most := 0
		for i := range comparisons {
			most = max(most, suggestedRuns(c, &comparisons[i]))
		}
		if most > 0 {
			cells, repeats = append(cells, c), append(repeats, min(most, limit))
		}
	}
	return cells, repeats
}

// suggestedRuns is how many more runs of a cell a comparison asks for.
func suggestedRuns(c run.Cell, x *analysis.Comparison) int {
	a, b := x.Groups()
	group := analysis.Group{Device: c.Device, Workload: c.Workload, Supply: c.Supply, Variant: c.Variant}
	if group != a && group != b {
		return 0
	}
	i := slices.IndexFunc(x.Settings, func(s analysis.SettingComparison) bool {
		w, known := c.Setting.Watts()
		if !known {
			return s.Setting == c.Setting.Name() && s.Setting != ""
		}
		return float64(s.SettingW) == w
	})
	if i < 0 || x.Settings[i].MoreRuns == nil {
		return 0
	}
	return *x.Settings[i].MoreRuns
}
