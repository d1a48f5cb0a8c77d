package console

import (
	"slices"

	"sweepd/agent"
	"sweepd/analysis"
)

// Direction is lower for the names listed, else higher.
func Direction(name string, lower []string) agent.Better {
	if slices.Contains(lower, name) {
		return agent.Lower
	}
	return agent.Higher
}

// Explicit is lower for the names listed, else open.
func Explicit(name string, lower []string) agent.Better {
	if slices.Contains(lower, name) {
		return agent.Lower
	}
	return ""
}

// PreferLower marks in runs the results of which less is better, beside those
// that were stored so.
func PreferLower(runs []analysis.Run, lower []string) {
	for i := range runs {
		for _, name := range lower {
			if r, ok := runs[i].Results[name]; ok {
				r.LowerIsBetter = true
				runs[i].Results[name] = r
			}
		}
	}
}
