package console

import (
	"slices"

	"sweepd/run"
)

// Direction is lower for the names listed, else higher.
func Direction(name string, lower []string) run.Better {
	if slices.Contains(lower, name) {
		return run.Lower
	}
	return run.Higher
}

// Explicit is lower for the names listed, else open.
func Explicit(name string, lower []string) run.Better {
	if slices.Contains(lower, name) {
		return run.Lower
	}
	return ""
}

// PreferLower marks in runs the results of which less is better, beside those
// that were stored so.
func PreferLower(runs []run.Run, lower []string) {
	for i := range runs {
		for _, name := range lower {
			if r, ok := runs[i].Results[name]; ok {
				r.Better = run.Lower
				runs[i].Results[name] = r
			}
		}
	}
}
