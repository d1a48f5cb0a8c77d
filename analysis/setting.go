package analysis

import (
	"math"
	"slices"

	"sweepd/run"
)

// settingOf gives the setting of a run; ok is false where its watts have no
// logarithm.
func settingOf(r *run.Run) (s run.Setting, ok bool) {
	s = r.Setting.Setting
	w, inWatts := s.Watts()
	return s, !inWatts || w > 0
}

// wattsOf is a setting in watts, NaN where only a name is known.
func wattsOf(s run.Setting) float64 {
	if w, ok := s.Watts(); ok {
		return w
	}
	return math.NaN()
}

// setting identifies the cell's setting.
func (s sample) setting() run.Setting { return settingAt(s.watts, s.name) }

// settingAt is the setting of these watts, or of this name where they are NaN.
func settingAt(watts float64, name string) run.Setting {
	if math.IsNaN(watts) {
		return run.Named(name)
	}
	return run.Watts(watts)
}

// positions places sorted settings on the axis: ln watts, or 1, 2, ... if any
// of them has only a name.
func positions(settings []run.Setting) []float64 {
	x := make([]float64, len(settings))
	byName := slices.ContainsFunc(settings, func(s run.Setting) bool { return math.IsNaN(wattsOf(s)) })
	for j, s := range settings {
		if byName {
			x[j] = float64(j + 1)
		} else {
			x[j] = math.Log(wattsOf(s))
		}
	}
	return x
}
