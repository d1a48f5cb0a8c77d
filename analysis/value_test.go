package analysis

import (
	"math"
	"testing"

	"sweepd/run"
)

// The comparison of methods 12, item 4 (base R 4.2.2): at 10 W side a is ahead
// with d 0.05970937888, at 15 W nothing can be told, at 20 and 30 W b is ahead.
func valueRuns() []run.Run {
	a := sameSettings("unit-oak", []float64{10, 15, 20, 30}, [][]float64{{50, 50.2, 49.9}, {60.3, 60, 60.1}, {70, 70.1, 69.5}, {80, 80.2, 79.9}})
	b := sameSettings("unit-elm", []float64{10, 15, 20, 30, 40},
		[][]float64{{47, 47.3, 47.1}, {59.9, 60.2, 60.1}, {70.8, 70.5, 71.1}, {84, 84.5, 84.2}, {90, 90.2, 90.4}})
	return append(a, b...)
}

func compareDevices(t *testing.T, runs []run.Run) CompareResult {
	t.Helper()
	result, err := Compare(runs, CompareRequest{By: "device", A: "unit-oak", B: "unit-elm"})
	if err != nil {
		t.Fatal(err)
	}
	return result
}

func TestValue(t *testing.T) {
	got, err := Value(compareDevices(t, valueRuns()), Prices{"EUR", map[string]float64{"unit-oak": 600, "unit-elm": 500}})
	if err != nil || len(got.Values) != 1 {
		t.Fatalf("%+v, %v", got, err)
	}
	v := got.Values[0]
	if v.Dearer != "unit-oak" || v.Cheaper != "unit-elm" || v.PriceDifference != 100 {
		t.Errorf("%+v", v)
	}
	ten := v.Settings[0]
	near(t, "gain", float64(ten.Gain), math.Expm1(0.05970937888), 1e-9)
	near(t, "lower", float64(ten.Lower), 0.05387047274, 1e-9)
	near(t, "upper", float64(ten.Upper), 0.06924116612, 1e-9)
	// 100 EUR more: percent per 100 EUR is percent.
	near(t, "per 100 EUR", float64(ten.PercentPer100), 100*math.Expm1(0.05970937888), 1e-9)
	// 6.15 % more for 20 % more money.
	near(t, "per price", float64(ten.PerPrice), math.Exp(0.05970937888)/1.2-1, 1e-9)
	if !ten.Significant || v.Settings[1].Significant || !v.Settings[2].Significant || v.Settings[4].Significant {
		t.Errorf("told: %+v", v.Settings)
	}
	if len(v.NotSignificant) != 1 || v.NotSignificant[0].FromW != 15 || v.NotSignificant[0].ToW != 15 {
		t.Errorf("not told %+v, want 15 W only", v.NotSignificant)
	}
	if v.Settings[4].Gain.Known() || v.Overall == nil {
		t.Errorf("%+v", v)
	}
	asJSON(t, got)
}

// What the dearer one gains over all settings is the comparison's overall where it is
// side a, with the bounds on their own sides; where it is side b, it
// is b/a - 1, and the bounds change places.
func TestValueOverall(t *testing.T) {
	compared := compareDevices(t, valueRuns())
	compared.Comparisons[0].Overall = &Overall{Diff: 0.25, Lower: 0, Upper: 0.6, Verdict: VerdictUnclear}
	for _, c := range []struct {
		oak, elm           float64
		lower, gain, upper float64
	}{
		{600, 500, 0, 0.25, 0.6},
		{500, 600, -0.375, -0.2, 0}, // 1/1.6 - 1, 1/1.25 - 1, 1/1 - 1
	} {
		got, err := Value(compared, Prices{"EUR", map[string]float64{"unit-oak": c.oak, "unit-elm": c.elm}})
		if err != nil || len(got.Values) != 1 || got.Values[0].Overall == nil {
			t.Fatalf("%+v, %v", got, err)
		}
		o := got.Values[0].Overall
		for _, n := range []struct {
			what string
			got  Number
			want float64
		}{
			{"lower", o.Lower, c.lower}, {"gain", o.Gain, c.gain}, {"upper", o.Upper, c.upper},
			// 100 EUR more: percent per 100 EUR is percent.
			{"lower per 100 EUR", o.PercentPer100Lower, 100 * c.lower}, {"per 100 EUR", o.PercentPer100, 100 * c.gain},
			{"upper per 100 EUR", o.PercentPer100Upper, 100 * c.upper},
		} {
			if math.Abs(float64(n.got)-n.want) > 1e-12 {
				t.Errorf("%v and %v EUR: %s %v, want %v", c.oak, c.elm, n.what, n.got, n.want)
			}
		}
	}
}

// Turning the prices round, or the direction of the metric, mirrors the gain.
func TestValueMirrored(t *testing.T) {
	runs := valueRuns()
	a, _ := Value(compareDevices(t, runs), Prices{"", map[string]float64{"unit-oak": 600, "unit-elm": 500}})
	b, _ := Value(compareDevices(t, runs), Prices{"", map[string]float64{"unit-oak": 500, "unit-elm": 600}})
	for i := range runs {
		runs[i].Results = map[string]run.Result{"score": {Value: 1 / runs[i].Results["score"].Value, Better: run.Lower}}
	}
	c, _ := Value(compareDevices(t, runs), Prices{"", map[string]float64{"unit-oak": 600, "unit-elm": 500}})
	for j := range 4 {
		x, y, z := a.Values[0].Settings[j], b.Values[0].Settings[j], c.Values[0].Settings[j]
		near(t, "inverse", float64((1+x.Gain)*(1+y.Gain)), 1, 1e-12)
		near(t, "inverse bound", float64((1+x.Lower)*(1+y.Upper)), 1, 1e-12)
		near(t, "inverse bound", float64((1+x.Upper)*(1+y.Lower)), 1, 1e-12)
		near(t, "lower is better", float64(z.Gain), float64(x.Gain), 1e-9)
		near(t, "lower is better, lower", float64(z.Lower), float64(x.Lower), 1e-9)
		near(t, "lower is better, upper", float64(z.Upper), float64(x.Upper), 1e-9)
	}
	if b.Values[0].Dearer != "unit-elm" {
		t.Errorf("dearer %s", b.Values[0].Dearer)
	}
}

func TestValueUnknown(t *testing.T) {
	compared := compareDevices(t, valueRuns())
	for name, c := range map[string]struct {
		prices map[string]float64
		says   Note
	}{
		"none":     {nil, Note{Code: NotePriceUnknown, Name: "unit-oak"}},
		"one":      {map[string]float64{"unit-oak": 600}, Note{Code: NotePriceUnknown, Name: "unit-elm"}},
		"the same": {map[string]float64{"unit-oak": 600, "unit-elm": 600}, Note{Code: NoteSamePrice, A: NoteSide{Side: "unit-oak"}, B: NoteSide{Side: "unit-elm"}}},
	} {
		got, err := Value(compared, Prices{ByDevice: c.prices})
		if err != nil || len(got.Values) != 0 || !has(got.Notes, c.says) {
			t.Errorf("%s: %+v, %v", name, got, err)
		}
		asJSON(t, got)
	}
	for _, bad := range []float64{0, -1, math.NaN(), math.Inf(1)} {
		if _, err := Value(compared, Prices{ByDevice: map[string]float64{"unit-oak": bad}}); err == nil {
			t.Errorf("price %v: no error", bad)
		}
	}
}
