package sentence

import (
	"math"
	"testing"

	"sweepd/analysis"
)

// onCurve is a curve by the watts of its settings, of which those from one to another are
// among the most efficient, each with its share of the best; enough begins between two.
func onCurve(workload, supply string, watts []float64, best map[float64]float64, from, to float64) *analysis.CurveGroup {
	g := &analysis.CurveGroup{Device: "unit-elm", Workload: workload, Supply: supply, Enough: analysis.Enough{AtW: analysis.Number(from), Share: 0.95, FromW: analysis.Number(from), ToW: analysis.Number(to)}}
	g.Effective = analysis.Effective{FromW: analysis.Number(watts[0]), ToW: analysis.Number(watts[len(watts)-1]), FloorW: analysis.Unknown(), CapW: analysis.Unknown()}
	e := analysis.Efficiency{By: analysis.BySystem}
	most := 0.0
	for _, w := range watts {
		g.Points = append(g.Points, analysis.CurvePoint{SettingW: analysis.Number(w), N: 3})
		share := best[w]
		e.Points = append(e.Points, analysis.EfficiencyPoint{SettingW: analysis.Number(w), N: 3, Value: analysis.Number(max(share, 0.5)), Plateau: share > 0})
		if share > most {
			most, e.PeakW = share, analysis.Number(w)
		}
	}
	g.Efficiency, g.Efficiencies = e, []analysis.Efficiency{e}
	return g
}

func lasting(workload string, hours map[float64]float64, watts []float64) *analysis.BatteryGroup {
	g := &analysis.BatteryGroup{Device: "unit-elm", Workload: workload}
	for _, w := range watts {
		g.Points = append(g.Points, analysis.BatteryPoint{SettingW: analysis.Number(w), N: 3, RuntimeH: analysis.Number(hours[w])})
	}
	return g
}

var roomy = Room{1000, 1000}

// What to set in all workloads: a setting that is among the most efficient in each, enough
// from where it is in each, on battery where there are runs on it.
func TestWhatToSet(t *testing.T) {
	watts := []float64{5, 10, 15, 25, 40}
	open, unknown := math.NaN(), math.NaN()
	for _, c := range []struct {
		name   string
		curves []*analysis.CurveGroup
		want   string
	}{
		{"one", []*analysis.CurveGroup{onCurve("a", "mains", watts, map[float64]float64{10: 1, 15: 0.97}, 15, 25)}, "Plugged in, most efficient is 10 W; 95 % of the best takes 15 to 25 W."},
		{"the lowest", []*analysis.CurveGroup{onCurve("a", "mains", watts, map[float64]float64{5: 1}, 25, 25)}, "Plugged in, most efficient is 5 W (the lowest tested); 95 % of the best takes 25 W."},
		{"battery before mains", []*analysis.CurveGroup{onCurve("a", "mains", watts, map[float64]float64{10: 1}, 15, 25), onCurve("a", "battery", watts, map[float64]float64{15: 1}, 25, 25)},
			"On battery, most efficient is 15 W; 95 % of the best takes 25 W."},
		{"in both", []*analysis.CurveGroup{onCurve("a", "battery", watts, map[float64]float64{5: 1, 10: 0.99}, 10, 15), onCurve("b", "battery", watts, map[float64]float64{10: 0.97, 15: 1}, 15, 25)},
			"In both workloads on battery, most efficient is 10 W; 95 % of the best takes 15 to 25 W."},
		{"the better of two", []*analysis.CurveGroup{onCurve("a", "battery", watts, map[float64]float64{10: 0.96, 15: 1, 25: 0.97}, 15, 25), onCurve("b", "battery", watts, map[float64]float64{10: 1, 15: 0.98, 25: 0.96}, 15, 25)},
			"In both workloads on battery, most efficient is 15 W; 95 % of the best takes 15 to 25 W."},
		{"in none of both", []*analysis.CurveGroup{onCurve("a", "battery", watts, map[float64]float64{5: 1, 10: 0.99}, 15, 25), onCurve("b", "battery", watts, map[float64]float64{15: 1}, 15, 25)},
			"In both workloads on battery, most efficient is 5 W or 15 W (by workload); 95 % of the best takes 15 to 25 W."},
		{"enough without an end in one", []*analysis.CurveGroup{onCurve("a", "battery", watts, map[float64]float64{10: 1}, 25, open), onCurve("b", "battery", watts, map[float64]float64{10: 1}, 15, 25)},
			"In both workloads on battery, most efficient is 10 W; 95 % of the best takes at least 25 W."},
		{"enough, too wide", []*analysis.CurveGroup{onCurve("a", "mains", watts, map[float64]float64{10: 1}, 10, 25)}, "Plugged in, most efficient is 10 W."},
		{"enough, not known in one", []*analysis.CurveGroup{onCurve("a", "mains", watts, map[float64]float64{10: 1}, 15, 25), onCurve("b", "mains", watts, map[float64]float64{10: 1}, unknown, unknown)}, "In both workloads plugged in, most efficient is 10 W."},
		{"one setting", []*analysis.CurveGroup{onCurve("a", "mains", watts[:1], map[float64]float64{5: 1}, 5, 5)}, ""},
	} {
		o := Opening{Subjects: []Subject{{Curves: c.curves}}}
		if _, got, _ := o.Sentences(roomy); got != c.want {
			t.Errorf("%s: %q, want %q", c.name, got, c.want)
		}
	}
}

// How long a full battery lasts, in all workloads.
func TestHowLong(t *testing.T) {
	watts := []float64{5, 10, 15, 25, 40}
	hours := map[float64]float64{5: 4, 10: 3, 15: 2, 25: 1.5, 40: 0.75}
	shorter, unknown := map[float64]float64{}, map[float64]float64{}
	for w, h := range hours {
		shorter[w], unknown[w] = 0.8*h, math.NaN()
	}
	alike := map[float64]float64{5: 4.1, 10: 3.05, 15: 2, 25: 1.5, 40: 0.75}
	curves := []*analysis.CurveGroup{onCurve("a", "battery", watts, map[float64]float64{10: 1}, 15, 25)}
	for _, c := range []struct {
		name    string
		battery []*analysis.BatteryGroup
		curves  []*analysis.CurveGroup
		reserve float64
		want    string
	}{
		{"one", []*analysis.BatteryGroup{lasting("a", hours, watts)}, curves, 0, "At 10 W a full battery lasts 3 h 00 min; at 25 W, 1 h 30 min; at 40 W, 45 min."},
		{"workloads alike", []*analysis.BatteryGroup{lasting("a", hours, watts), lasting("b", alike, watts)}, curves, 0, "At 10 W a full battery lasts 3 h 00 min; at 25 W, 1 h 30 min; at 40 W, 45 min."},
		{"workloads apart", []*analysis.BatteryGroup{lasting("a", hours, watts), lasting("b", shorter, watts)}, curves, 0, "At 10 W a full battery lasts 2 h 24 min to 3 h 00 min; at 25 W, 1 h 12 min to 1 h 30 min; at 40 W, 36 min to 45 min."},
		{"a reserve", []*analysis.BatteryGroup{lasting("a", hours, watts)}, curves, 0.05, "At 10 W a full battery lasts 3 h 00 min, down to 5 %; at 25 W, 1 h 30 min; at 40 W, 45 min."},
		{"no setting is known", []*analysis.BatteryGroup{lasting("a", hours, watts)}, nil, 0, "A full battery lasts 4 h 00 min at 5 W and 45 min at 40 W."},
		{"not run at that setting", []*analysis.BatteryGroup{lasting("a", hours, []float64{5, 40})}, curves, 0, "A full battery lasts 4 h 00 min at 5 W and 45 min at 40 W."},
		{"not known what it holds", []*analysis.BatteryGroup{lasting("a", unknown, watts)}, curves, 0, "How long a battery lasts cannot be told: what it holds when full is not known."},
		{"no runs on battery", nil, curves, 0, ""},
	} {
		o := Opening{Subjects: []Subject{{Curves: c.curves, Battery: c.battery}}, Reserve: c.reserve}
		if _, _, got := o.Sentences(roomy); got != c.want {
			t.Errorf("%s: %q, want %q", c.name, got, c.want)
		}
	}
}

// A floor or a cap, with the supply where the device has it on one alone, or not the same.
func TestLimitsInTheOpening(t *testing.T) {
	watts := []float64{5, 10, 15, 25, 40}
	limited := func(supply string, floor, cap float64) *analysis.CurveGroup {
		c := onCurve("a", supply, watts, nil, math.NaN(), math.NaN())
		c.Effective.FloorW, c.Effective.CapW = analysis.Number(floor), analysis.Number(cap)
		return c
	}
	none := math.NaN()
	for _, c := range []struct {
		name   string
		curves []*analysis.CurveGroup
		want   string
	}{
		{"none", []*analysis.CurveGroup{limited("mains", none, none)}, ""},
		{"a cap", []*analysis.CurveGroup{limited("mains", none, 39.9)}, "no higher than 40 W"},
		{"a floor", []*analysis.CurveGroup{limited("mains", 6.98, none), limited("battery", 7.01, none)}, "no lower than 7 W"},
		{"on one supply", []*analysis.CurveGroup{limited("mains", none, none), limited("battery", none, 24.9)}, "no higher than 25 W on battery"},
		{"another on each", []*analysis.CurveGroup{limited("battery", none, 24.9), limited("mains", none, 39.8)}, "no higher than 40 W plugged in and 25 W on battery"},
		{"not the same in workloads", []*analysis.CurveGroup{limited("mains", none, 38), limited("mains", none, 39.8)}, "no higher than 38 to 40 W"},
	} {
		s := Subject{Name: "unit-elm", Curves: c.curves}
		o := Opening{Subjects: []Subject{s}}
		want := c.want
		if want != "" {
			want = "unit-elm goes " + want
		}
		if got := o.limits(); got != want {
			t.Errorf("%s: %q, want %q", c.name, got, want)
		}
	}
}

// Where nothing can be said, what would help is.
func TestAnOpeningOfNothing(t *testing.T) {
	ahead, set, lasts := (&Opening{Subjects: []Subject{{}}}).Sentences(roomy)
	if want := "There is too little to answer by: runs at several settings, each repeated, would tell."; ahead != want || set+lasts != "" {
		t.Errorf("%q, %q, %q", ahead, set, lasts)
	}
}
