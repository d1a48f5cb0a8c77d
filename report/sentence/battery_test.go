package sentence

import (
	"slices"
	"testing"

	"sweepd/analysis"
)

func TestBatteryTitle(t *testing.T) {
	u := analysis.Unknown()
	for _, c := range []struct {
		full, health analysis.Number
		reserve      float64
		variant      string
		want         string
	}{
		{48.6, 0.9504, 0.05, "cores=6", "harbour-flight, unit-oak, cores=6, battery of 48.6 Wh when full (95 % of its design), down to a reserve of 5 %"},
		{48.6, u, 0, "", "harbour-flight, unit-oak, battery of 48.6 Wh when full"},
		{u, 0.95, 0.1, "", "harbour-flight, unit-oak, down to a reserve of 10 %"},
		{u, 0.95, 0.055, "", "harbour-flight, unit-oak, down to a reserve of 5.5 %"},
		{u, 0.95, 0.07, "", "harbour-flight, unit-oak, down to a reserve of 7 %"},
		{u, u, 0, "", "harbour-flight, unit-oak"},
	} {
		g := &analysis.BatteryGroup{Workload: "harbour-flight", Device: "unit-oak", Variant: c.variant, FullEnergyWh: c.full, Health: c.health}
		if got := BatteryTitle(&analysis.BatteryResult{Reserve: c.reserve}, g); got != c.want {
			t.Errorf("got %q, want %q", got, c.want)
		}
	}
}

// The runtimes at the lowest and the highest setting of which one is known: 3.8 h are
// 3 h 48 min.
func TestRuntime(t *testing.T) {
	u := analysis.Unknown()
	at := func(watts analysis.Number, name string, h, lower, upper analysis.Number) analysis.BatteryPoint {
		return analysis.BatteryPoint{SettingW: watts, Setting: name, RuntimeH: h, RuntimeLowerH: lower, RuntimeUpperH: upper}
	}
	low, middle, high := at(5, "", 4, 3.8, 4.2), at(10, "", 2, 1.9, 2.1), at(25, "", 1.5, 1.4, 1.6)
	for _, c := range []struct {
		name    string
		points  []analysis.BatteryPoint
		reserve float64
		want    string
	}{
		{"three settings", []analysis.BatteryPoint{low, middle, high}, 0, "A full battery lasts 4 h 00 min (3 h 48 min to 4 h 12 min) at 5 W and 1 h 30 min (1 h 24 min to 1 h 36 min) at 25 W."},
		{"to a reserve", []analysis.BatteryPoint{low, high}, 0.05, "A full battery lasts 4 h 00 min (3 h 48 min to 4 h 12 min) at 5 W and 1 h 30 min (1 h 24 min to 1 h 36 min) at 25 W, down to 5 %."},
		{"the ends unknown", []analysis.BatteryPoint{at(3, "", u, u, u), middle, at(54, "", u, u, u)}, 0, "A full battery lasts 2 h 00 min (1 h 54 min to 2 h 06 min) at 10 W."},
		{"by name, without an interval", []analysis.BatteryPoint{at(u, "quiet", 3.5, u, u)}, 0, "A full battery lasts 3 h 30 min at quiet."},
		{"none known", []analysis.BatteryPoint{at(5, "", u, u, u)}, 0.05, ""},
		{"none", nil, 0, ""},
	} {
		var want []Sentence
		if c.want != "" {
			want = []Sentence{{Good, c.want}}
		}
		if got := Runtime(&analysis.BatteryResult{Reserve: c.reserve}, &analysis.BatteryGroup{Points: c.points}, nil); !slices.Equal(got, want) {
			t.Errorf("%s: got %v, want %v", c.name, got, want)
		}
	}
}

// With a curve, at the most efficient setting, at one that is surely enough, and at the
// highest.
func TestRuntimeAtSettingsThatPeopleUse(t *testing.T) {
	u := analysis.Unknown()
	g := &analysis.BatteryGroup{}
	for i, w := range []analysis.Number{5, 10, 20, 40} {
		h := []analysis.Number{4, 2, 1, 0.5}[i]
		g.Points = append(g.Points, analysis.BatteryPoint{SettingW: w, RuntimeH: h, RuntimeLowerH: u, RuntimeUpperH: u})
	}
	for _, c := range []struct {
		name           string
		peak, from, to analysis.Number
		want           string
	}{
		{"all three", 10, 18, 20, "A full battery lasts 2 h 00 min at 10 W (most efficient), 1 h 00 min at 20 W (enough for 95 % of the best) and 30 min at 40 W."},
		{"enough is not known", 10, u, u, "A full battery lasts 2 h 00 min at 10 W (most efficient) and 30 min at 40 W."},
		{"enough has no upper end", 10, 18, u, "A full battery lasts 2 h 00 min at 10 W (most efficient) and 30 min at 40 W."},
		{"the highest is enough", 10, 38, 40, "A full battery lasts 2 h 00 min at 10 W (most efficient) and 30 min at 40 W (enough for 95 % of the best)."},
		{"nothing is known", u, u, u, "A full battery lasts 4 h 00 min at 5 W and 30 min at 40 W."},
	} {
		curve := untold()
		curve.Points = []analysis.CurvePoint{{SettingW: 5}, {SettingW: 40}}
		curve.Efficiency = analysis.Efficiency{By: analysis.ByPackage, PeakW: c.peak, Points: []analysis.EfficiencyPoint{{SettingW: 5}, {SettingW: 10}}}
		curve.Enough = analysis.Enough{AtW: c.from, FromW: c.from, ToW: c.to, Share: 0.95}
		if got := texts(Runtime(&analysis.BatteryResult{}, g, curve)); !slices.Equal(got, []string{c.want}) {
			t.Errorf("%s: got %q, want %q", c.name, got, c.want)
		}
	}
}

// A measured runtime agrees with its prediction where it is in its interval, the ends
// included.
func TestMeasuredRuntime(t *testing.T) {
	u := analysis.Unknown()
	const disagree = ": they do not agree, so the battery does not hold what was assumed, or the power was another one."
	for _, c := range []struct {
		name string
		m    analysis.MeasuredRuntime
		want Sentence
	}{
		{"agrees", analysis.MeasuredRuntime{SettingW: 10, StartCharge: 1, EndCharge: 0.05, RuntimeH: 1.9, PredictedH: 1.95, PredictedLowerH: 1.85, PredictedUpperH: 2.05},
			Sentence{Plain, "Measured: run 456789ab at 10 W lasted 1 h 54 min from 100 % down to 5 %; the power at this setting predicts 1 h 57 min (1 h 51 min to 2 h 03 min)."}},
		{"too short, charges unknown", analysis.MeasuredRuntime{SettingW: u, Setting: "quiet", StartCharge: u, EndCharge: u, RuntimeH: 1.8, PredictedH: 1.95, PredictedLowerH: 1.85, PredictedUpperH: 2.05},
			Sentence{Doubtful, "Measured: run 456789ab at quiet lasted 1 h 48 min down to the reserve; the power at this setting predicts 1 h 57 min (1 h 51 min to 2 h 03 min)" + disagree}},
		{"too long, and the device broke off", analysis.MeasuredRuntime{SettingW: 10, StartCharge: u, EndCharge: 0, SwitchedOff: true, RuntimeH: 2.1, PredictedH: 1.95, PredictedLowerH: 1.85, PredictedUpperH: 2.05},
			Sentence{Doubtful, "Measured: run 456789ab at 10 W lasted 2 h 06 min down to 0 %, where the recording broke off; the power at this setting predicts 1 h 57 min (1 h 51 min to 2 h 03 min)" + disagree}},
		{"as short as predicted", analysis.MeasuredRuntime{SettingW: 10, StartCharge: 0.98, EndCharge: u, RuntimeH: 1.85, PredictedH: 1.95, PredictedLowerH: 1.85, PredictedUpperH: 2.05},
			Sentence{Plain, "Measured: run 456789ab at 10 W lasted 1 h 51 min from 98 % down to the reserve; the power at this setting predicts 1 h 57 min (1 h 51 min to 2 h 03 min)."}},
		{"as long as predicted", analysis.MeasuredRuntime{SettingW: 10, StartCharge: 1, EndCharge: 0.1, RuntimeH: 2.05, PredictedH: 1.95, PredictedLowerH: 1.85, PredictedUpperH: 2.05},
			Sentence{Plain, "Measured: run 456789ab at 10 W lasted 2 h 03 min from 100 % down to 10 %; the power at this setting predicts 1 h 57 min (1 h 51 min to 2 h 03 min)."}},
		{"predicted without an interval", analysis.MeasuredRuntime{SettingW: 10, StartCharge: 1, EndCharge: 0.1, RuntimeH: 3, PredictedH: 1.95, PredictedLowerH: u, PredictedUpperH: u},
			Sentence{Plain, "Measured: run 456789ab at 10 W lasted 3 h 00 min from 100 % down to 10 %; the power at this setting predicts 1 h 57 min."}},
		{"nothing predicted", analysis.MeasuredRuntime{SettingW: 10, StartCharge: 1, EndCharge: 0.1, RuntimeH: 3, PredictedH: u, PredictedLowerH: u, PredictedUpperH: u},
			Sentence{Plain, "Measured: run 456789ab at 10 W lasted 3 h 00 min from 100 % down to 10 %."}},
	} {
		c.m.Run = "20261124-0123456789ab"
		g := &analysis.BatteryGroup{Overhead: analysis.Overhead{InterceptW: u}, Measured: []analysis.MeasuredRuntime{c.m}}
		if got := Battery(g); !slices.Equal(got, []Sentence{c.want}) {
			t.Errorf("%s: got %v, want %v", c.name, got, c.want)
		}
	}
}

// Two digits of the half width count (2 W and 0.25 W), or three of the value where there
// is no interval.
func TestOverheadOfTheDevice(t *testing.T) {
	u := analysis.Unknown()
	for _, c := range []struct {
		o    analysis.Overhead
		want string
	}{
		{analysis.Overhead{Against: analysis.ByPackage, InterceptW: 4, InterceptLowerW: 2, InterceptUpperW: 6, Slope: 1.25, SlopeLower: 1, SlopeUpper: 1.5},
			"The rest of the device draws 4.0 W (2.0 to 6.0), and each watt of the package costs 1.25 W (1.00 to 1.50) at the battery."},
		{analysis.Overhead{Against: analysis.BySetting, InterceptW: 4, InterceptLowerW: u, InterceptUpperW: u, Slope: 1.5, SlopeLower: u, SlopeUpper: u},
			"The rest of the device draws 4.00 W, and each watt set costs 1.50 W at the battery."},
	} {
		if got := Battery(&analysis.BatteryGroup{Overhead: c.o}); !slices.Equal(got, []Sentence{{Plain, c.want}}) {
			t.Errorf("got %v, want %q", got, c.want)
		}
	}
}

// Of two variants the one that lasts longer in sum says so, and names the lowest and the
// highest setting where it is more than noise; of two that last as long, the first by
// the alphabet.
func TestGainsOverOtherVariants(t *testing.T) {
	u := analysis.Unknown()
	gain := func(variant string, watts, minutes, lower, upper analysis.Number) analysis.RuntimeGain {
		return analysis.RuntimeGain{Variant: variant, SettingW: watts, Minutes: minutes, Lower: lower, Upper: upper, Significant: lower > 0 || upper < 0}
	}
	quiet := gain("", u, 20, 10, 30)
	quiet.Setting = "quiet"
	for _, c := range []struct {
		name    string
		variant string
		gains   []analysis.RuntimeGain
		want    []Sentence
	}{
		{"at each of three settings", "cores=6", []analysis.RuntimeGain{gain("", 5, 60, 50, 70), gain("", 10, 40, 30, 50), gain("", 25, 20, 17.5, 22.5)},
			[]Sentence{{Good, "With cores=6 the battery lasts longer than with no variant, by 1 h 00 min (50 min to 1 h 10 min) at 5 W and by 20 min (18 to 23) at 25 W."}}},
		{"at one, well known", "cores=6", []analysis.RuntimeGain{gain("cores=12", 5, 6.04, 6, 6.08)},
			[]Sentence{{Good, "With cores=6 the battery lasts longer than with cores=12, by 6 min (within a minute) at 5 W."}}},
		{"one open, one a loss", "", []analysis.RuntimeGain{gain("cores=6", 5, 60, 50, 70), gain("cores=6", 10, 5, -15, 25), gain("cores=6", 25, -5, -15, 5)},
			[]Sentence{{Good, "With no variant the battery lasts longer than with cores=6, by 1 h 00 min (50 min to 1 h 10 min) at 5 W; it cannot be told at 10 W, 25 W."}}},
		{"none told", "cores=6", []analysis.RuntimeGain{gain("", 5, 5, -15, 25)},
			[]Sentence{{Doubtful, "It cannot be told whether the battery lasts longer with cores=6 than with no variant, at any setting."}}},
		{"by name", "cores=6", []analysis.RuntimeGain{quiet},
			[]Sentence{{Good, "With cores=6 the battery lasts longer than with no variant, by 20 min (10 to 30) at quiet."}}},
		{"shorter in sum: the other says it", "cores=6", []analysis.RuntimeGain{gain("", 5, 10, 5, 15), gain("", 10, -20, -30, -10)}, nil},
		{"as long, the first by the alphabet", "cores=12", []analysis.RuntimeGain{gain("cores=6", 5, 0, -10, 10)},
			[]Sentence{{Doubtful, "It cannot be told whether the battery lasts longer with cores=12 than with cores=6, at any setting."}}},
		{"as long, the second", "cores=6", []analysis.RuntimeGain{gain("cores=12", 5, 0, -10, 10)}, nil},
		{"longer by less than a minute, the second", "cores=6", []analysis.RuntimeGain{gain("cores=12", 5, 0.5, -10, 11)},
			[]Sentence{{Doubtful, "It cannot be told whether the battery lasts longer with cores=6 than with cores=12, at any setting."}}},
		{"over two others", "cores=6", []analysis.RuntimeGain{gain("", 5, 60, 50, 70), gain("", 10, 40, 30, 50), gain("cores=12", 5, 20, 10, 30)},
			[]Sentence{{Good, "With cores=6 the battery lasts longer than with no variant, by 1 h 00 min (50 min to 1 h 10 min) at 5 W and by 40 min (30 to 50) at 10 W."},
				{Good, "With cores=6 the battery lasts longer than with cores=12, by 20 min (10 to 30) at 5 W."}}},
	} {
		g := &analysis.BatteryGroup{Variant: c.variant, Overhead: analysis.Overhead{InterceptW: u}, Gains: c.gains}
		if got := Battery(g); !slices.Equal(got, c.want) {
			t.Errorf("%s: got %v, want %v", c.name, got, c.want)
		}
	}
}

// All of a group, in the order in which it is read.
func TestBatterySays(t *testing.T) {
	u := analysis.Unknown()
	g := &analysis.BatteryGroup{Overhead: analysis.Overhead{Against: analysis.ByPackage, InterceptW: 4, InterceptLowerW: 2, InterceptUpperW: 6, Slope: 1.25, SlopeLower: 1, SlopeUpper: 1.5},
		Measured: []analysis.MeasuredRuntime{{Run: "a", SettingW: 10, StartCharge: u, EndCharge: u, RuntimeH: 1.5, PredictedH: u}, {Run: "b", SettingW: 15, StartCharge: u, EndCharge: u, RuntimeH: 1, PredictedH: u}},
		Gains:    []analysis.RuntimeGain{{Variant: "cores=6", SettingW: 10, Minutes: 20, Lower: 10, Upper: 30, Significant: true}},
		Flagged:  []analysis.FlaggedRun{{Run: "c", SettingW: 15, N: 3}}}
	want := []Sentence{
		{Plain, "The rest of the device draws 4.0 W (2.0 to 6.0), and each watt of the package costs 1.25 W (1.00 to 1.50) at the battery."},
		{Plain, "Measured: run a at 10 W lasted 1 h 30 min down to the reserve."},
		{Plain, "Measured: run b at 15 W lasted 1 h 00 min down to the reserve."},
		{Good, "With no variant the battery lasts longer than with cores=6, by 20 min (10 to 30) at 10 W."},
		{Plain, "Unlike its repeats, and counted all the same: c at 15 W."},
	}
	if got := Battery(g); !slices.Equal(got, want) {
		t.Errorf("got %v, want %v", got, want)
	}
}
