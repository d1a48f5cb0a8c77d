package text

import (
	"strings"
	"testing"

	"sweepd/analysis"
)

// Whoever tests is told what to do behind what is so: by name of command and
// option.
func TestTerminalAdvises(t *testing.T) {
	u := analysis.Unknown()
	compare := analysis.CompareResult{Comparisons: []analysis.Comparison{{
		Workload: "tile-sort", A: "unit-oak", B: "unit-elm", Metric: "score", Better: "higher",
		Flagged:     []analysis.FlaggedRun{{Run: "0123456789", SettingW: 15}},
		Confounders: []analysis.Note{{Code: analysis.ConfounderDevices, Names: []string{"host_model"}}},
		Notes:       []analysis.Note{{Code: analysis.NoteUnlikeRepeats, Count: 1}, {Code: analysis.NoteSettingsDisobeyed, Side: "unit-oak", At: []analysis.DisobeyedSetting{{SettingW: 5, DrewW: 7}}}},
	}}}
	curve := analysis.CurveResult{Groups: []analysis.CurveGroup{{
		Workload: "tile-sort", KneeW: u, Enough: analysis.Enough{AtW: u, FromW: u, ToW: u}, Effective: analysis.Effective{FromW: u, ToW: u}, Efficiency: analysis.Efficiency{PeakW: u},
		Departures: []analysis.DepartureAt{{SettingW: 26, Change: -0.3, PAdjusted: 0.002}},
		Notes:      []analysis.Note{{Code: analysis.NoteSingleRunDepartures, Count: 1}, {Code: analysis.NoteNoiseUnknown}},
	}}, Notes: []analysis.Note{{Code: analysis.NoteNoUsableResult, Group: analysis.Group{Device: "unit-oak", Workload: "tile-sort"}, Metric: "score", Count: 3, Names: []string{"fps_mean"}}}}
	battery := analysis.BatteryResult{Groups: []analysis.BatteryGroup{{
		FullEnergyWh: u, Overhead: analysis.Overhead{InterceptW: u}, Notes: []analysis.Note{{Code: analysis.NoteFullEnergyUnknown}, {Code: analysis.NotePackNotCounted, Name: "100Wh", Group: analysis.Group{Variant: "pack=100Wh"}}},
	}}}
	value := analysis.ValueResult{Notes: []analysis.Note{{Code: analysis.NotePriceUnknown, Name: "unit-elm"}, {Code: analysis.NoteSamePrice, A: analysis.NoteSide{Side: "unit-oak"}, B: analysis.NoteSide{Side: "unit-elm"}}}}
	var b strings.Builder
	for _, err := range []error{Compare(&b, compare, Options{}), Curve(&b, curve, Options{}), Battery(&b, battery, Options{}), Value(&b, value, Options{})} {
		if err != nil {
			t.Fatal(err)
		}
	}
	for _, want := range []string{
		"besides: the devices differ in model (`sweepd run show` lists the facts)",
		"Unlike its repeats, and counted all the same: 23456789 at 15 W.",
		"note: 1 run differs from its repeats and stays in all numbers; look at it (`sweepd run show`) and reject it if you can explain it",
		"note: unit-oak drew 7.00 W at 5 W: equal settings are not equal power there; --at package compares at equal measured watts",
		"At 26 W the result dips below the trend: -30.0 %, more than noise. Run 26 W again, or look for what holds it down.",
		"note: 1 dip rests on a single run, which cannot tell a dip from a bad run: repeat it",
		"no intervals; repeat each setting at least twice",
		"note: unit-oak, tile-sort: no usable score in 3 runs; they have fps_mean (ask with --metric)",
		"note: what the battery holds when full is not known: no runtimes; state it, such as --full-energy 48.6Wh",
		"not the pack of 100Wh; state the energy of both, --full-energy pack=100Wh=…Wh",
		"the price of unit-elm is not known; state it, --price unit-elm=…",
		"unit-oak and unit-elm cost the same: see the comparison",
	} {
		if !strings.Contains(flowing(b.String()), want) {
			t.Errorf("lacks %q:\n%s", want, b.String())
		}
	}
}
