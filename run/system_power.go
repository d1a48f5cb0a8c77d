package run

import (
	"fmt"
	"math"
	"strconv"
)

// largestUncertainty is the uncertainty of a discharge (half width of a 95 % interval), as
// a share of it, above which it is not taken for the power of the whole device (common
// practice, no source).
const largestUncertainty = 0.25

// IdleAtEnd is why the watts of a run do not count while TailUndecided.
const IdleAtEnd = "idle at its end: see sweepd run trim"

// NoSystemPower says why the discharge of a run that was recorded on battery is not taken
// for the power of the whole device: the run is too short, or its discharge too
// uncertain. It is "" for all other runs, those without a discharge among them: the watts
// of a table are as whoever made it gave them.
func (r *Run) NoSystemPower() string {
	if r.Supply != Battery || r.Discharge == nil || r.Discharge.Watts == nil {
		return ""
	}
	if r.TailUndecided() {
		return IdleAtEnd
	}
	if r.HasFinding(TooShort) {
		return fmt.Sprintf("too short, %s s", strconv.FormatFloat(r.Seconds(), 'f', 1, 64))
	}
	watts := math.Abs(*r.Discharge.Watts)
	if u := r.Discharge.UncertaintyWatts; u != nil && *u > largestUncertainty*watts {
		why := fmt.Sprintf("more than %.0f %% of it", 100*largestUncertainty)
		if *u >= watts {
			why = "it cannot be told from 0"
		}
		return fmt.Sprintf("too uncertain, %s: %s", wattsWithin(*r.Discharge.Watts, *u), why)
	}
	return ""
}

// wattsWithin writes watts with their uncertainty above 0, which shows two digits (GUM
// 7.2.6) but not more than tenths of a milliwatt.
func wattsWithin(w, u float64) string {
	decimals := min(max(1-int(math.Floor(math.Log10(u))), 1), 4)
	if u < 1e-4 {
		return strconv.FormatFloat(w, 'f', decimals, 64) + " W, by less than 0.0001 W"
	}
	return fmt.Sprintf("%.*f ± %.*f W", decimals, w, decimals, u)
}

// LimitSystemPower takes SystemW away where NoSystemPower says why, and the package power
// of a run of which nobody said yet up to where it counts (TailUndecided). What ends a run and
// what reads one asks it, so that it holds for runs that older versions stored, too.
func (r *Run) LimitSystemPower() {
	if r.NoSystemPower() != "" {
		r.SystemW = nil
	}
	if r.TailUndecided() {
		r.PackageW, r.SystemW = nil, nil
	}
}
