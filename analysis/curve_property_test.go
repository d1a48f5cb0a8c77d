package analysis

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"sweepd/run"
)

// drawnRuns draws a campaign: settings, repeats, noise, dips, missing sensors.
func drawnRuns(t *rapid.T) []run.Run {
	random := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 0))
	m := rapid.IntRange(1, 12).Draw(t, "settings")
	cv := rapid.SampledFrom([]float64{0.002, 0.01, 0.03}).Draw(t, "cv")
	runs := simulated(random, studyWatts[:m], rapid.IntRange(1, 4).Draw(t, "n"), cv, func(w float64) float64 {
		if random.IntN(20) == 0 {
			return 0.9 * saturating(w)
		}
		return saturating(w)
	})
	for i := range runs {
		if random.IntN(10) == 0 {
			runs[i].PackageW = nil
		}
		if random.IntN(10) == 0 {
			runs[i].Variant = "cores=6"
		}
	}
	return runs
}

// scaled multiplies every result.
func scaled(runs []run.Run, factor float64) []run.Run {
	out := slices.Clone(runs)
	for i := range out {
		out[i].Results = make(map[string]run.Result)
		for name, r := range runs[i].Results {
			r.Value *= factor
			out[i].Results[name] = r
		}
	}
	return out
}

func mustCurve(t rapid.TB, runs []run.Run) CurveResult {
	result, err := Curve(runs, CurveRequest{})
	if err != nil {
		t.Fatal(err)
	}
	return result
}

func mustBattery(t rapid.TB, runs []run.Run) BatteryResult {
	result, err := Battery(runs, BatteryRequest{Full: []FullEnergy{{Wh: 50, RSE: 0.01}}})
	if err != nil {
		t.Fatal(err)
	}
	return result
}

// The unit of a metric changes the means and what is per watt, and nothing else.
func TestCurveScaling(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		runs := drawnRuns(t)
		factor := rapid.SampledFrom([]float64{1e-3, 0.5, 7, 1e6}).Draw(t, "factor")
		a, b := mustCurve(t, runs), mustCurve(t, scaled(runs, factor))
		for _, g := range b.Groups {
			for i := range g.Points {
				p := &g.Points[i]
				for _, n := range []*Number{&p.Mean, &p.Lower, &p.Upper, &p.PerPackageW, &p.PerSystemW, &p.PerSettingW} {
					*n /= Number(factor)
				}
			}
			for _, e := range g.Efficiencies { // g.Efficiency shares the points of the first
				for i := range e.Points {
					p := &e.Points[i]
					p.Value, p.Lower, p.Upper = p.Value/Number(factor), p.Lower/Number(factor), p.Upper/Number(factor)
				}
			}
		}
		if diff := differences(t, a, b, 1e-6); len(diff) > 0 {
			t.Fatal(strings.Join(diff, "\n"))
		}
	})
}

// The order of the rows is irrelevant, and they are left alone.
func TestCurveAndBatteryRowOrder(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		runs := drawnRuns(t)
		shuffled := rapid.Permutation(runs).Draw(t, "shuffled")
		kept := slices.Clone(shuffled)
		for i := range kept { // maps and pointers are shared: keep what they hold
			kept[i].Results = map[string]run.Result{"fps_mean": kept[i].Results["fps_mean"]}
		}
		sameNotes(t, mustCurve(t, runs), mustCurve(t, shuffled))
		sameNotes(t, mustBattery(t, runs), mustBattery(t, shuffled))
		if diff := differences(t, mustCurve(t, runs), mustCurve(t, shuffled), 1e-12); len(diff) > 0 {
			t.Fatal(strings.Join(diff, "\n"))
		}
		if diff := differences(t, mustBattery(t, runs), mustBattery(t, shuffled), 1e-12); len(diff) > 0 {
			t.Fatal(strings.Join(diff, "\n"))
		}
		if diff := cmp.Diff(kept, shuffled); diff != "" {
			t.Fatal("runs changed: ", diff)
		}
	})
}

// Power in another unit scales power and overhead and divides runtimes.
func TestBatteryScaling(t *testing.T) {
	random := rand.New(rand.NewPCG(5, 5))
	runs := simulated(random, studyWatts[:8], 3, 0.01, saturating)
	double := slices.Clone(runs)
	for i := range double {
		p, s := 2**runs[i].PackageW, 2**runs[i].SystemW
		double[i].PackageW, double[i].SystemW = &p, &s
	}
	a, b := mustBattery(t, runs).Groups[0], mustBattery(t, double).Groups[0]
	for j := range a.Points {
		near(t, "power", float64(b.Points[j].SystemW), 2*float64(a.Points[j].SystemW), 1e-12)
		near(t, "runtime", float64(b.Points[j].RuntimeH), float64(a.Points[j].RuntimeH)/2, 1e-12)
	}
	near(t, "intercept", float64(b.Overhead.InterceptW), 2*float64(a.Overhead.InterceptW), 1e-9)
	near(t, "slope", float64(b.Overhead.Slope), float64(a.Overhead.Slope), 1e-12)
}

// hostile are runs that no table should break on.
func hostile() map[string][]run.Run {
	values := func(settings []float64, results ...float64) []run.Run {
		var runs []run.Run
		for i, v := range results {
			w, p := settings[i%len(settings)], v
			runs = append(runs, run.Run{
				ID: fmt.Sprint(i), Labels: run.Labels{Device: "unit-oak", Setting: run.Watts(w).From(run.Declared), Supply: "battery"}, PackageW: &p, SystemW: &p,
				StartedAt: run.Timestamp{Time: time.Unix(int64(i), 0)}, DurationS: new(v), Findings: reserve, StartCharge: &p,
				Results: map[string]run.Result{"score": {Value: v}},
			})
		}
		return runs
	}
	nan, inf := math.NaN(), math.Inf(1)
	many := make([]float64, 10000)
	for i := range many {
		many[i] = 100 + float64(i%7)
	}
	huge := values([]float64{1e15, 2e15, 1e300}, 1e308, 1e308, 1e308, 1.7e308)
	cases := map[string][]run.Run{
		"one run":             values([]float64{10}, 50),
		"zeros":               values([]float64{10, 20}, 0, 0, 0, 0),
		"negative":            values([]float64{10, 20}, -1, -2, 5, 6),
		"NaN":                 values([]float64{10, 20, 30}, nan, 5, 6, nan, inf, -inf),
		"equal":               values([]float64{10, 15, 20, 25, 30, 35}, 5, 5, 5, 5, 5, 5, 5, 5, 5, 5, 5, 5),
		"largest and least":   values([]float64{10, 15, 20, 25, 30, 35}, 1e308, 1e-308, 1.7e308, 5e-324, 1e308, 1, 1e308, 1e-308),
		"huge":                huge,
		"falling":             values([]float64{10, 15, 20, 25, 30, 35}, 90, 80, 70, 60, 50, 40),
		"two settings":        values([]float64{10, 20}, 5, 6),
		"three settings":      values([]float64{10, 20, 30}, 5, 6, 7),
		"bad settings":        values([]float64{0, -5, nan, inf}, 5, 6, 7, 8),
		"nearly equal watts":  values([]float64{10, 10.001, 10.01, 10.02, 10.03}, 5, 6, 7, 8, 9),
		"10,000 in one cell":  values([]float64{10}, many...),
		"every watt once":     values(many[:50], many[:50]...),
		"tiny settings":       values([]float64{0.01, 0.02, 0.03, 0.04, 0.05}, 5, 6, 7, 8, 9),
		"one cell of many":    append(values([]float64{10}, many[:99]...), values([]float64{20, 30, 40, 50}, 200, 300, 400, 500)...),
		"every result a unit": values([]float64{1, 2, 3, 4, 5, 6, 7, 8}, 1, 1, 1, 1, 1, 1, 1, 1),
	}
	profiles := values([]float64{10}, 5, 6, 7, 8)
	for i := range profiles {
		profiles[i].Setting = named([]string{"quiet", "", "performance", "turbo"}[i])
	}
	cases["names"] = profiles
	cases["names and watts"] = append(values([]float64{10, 20}, 5, 6, 7, 8), profiles...)
	for name, runs := range cases {
		lower := slices.Clone(runs)
		for i := range lower {
			lower[i].Results = map[string]run.Result{"score": {Value: runs[i].Results["score"].Value, Better: run.Lower}}
		}
		cases[name+", lower is better"] = lower
	}
	return cases
}

// Whatever comes in: no panic, and JSON without NaN; what cannot be used is said.
func TestHostileRuns(t *testing.T) {
	for name, runs := range hostile() {
		t.Run(name, func(t *testing.T) {
			curve, err := Curve(runs, CurveRequest{})
			if err == nil {
				asJSON(t, curve)
			}
			said := len(curve.Notes)
			usableRuns, used := 0, 0
			for i := range runs {
				if usable(runs[i].Results["score"].Value) {
					usableRuns++
				}
			}
			for _, g := range curve.Groups {
				said += len(g.Notes)
				used += g.N
			}
			if used < len(runs) && said == 0 && err == nil {
				t.Errorf("%d of %d runs used, and no note", used, len(runs))
			}
			if used > usableRuns {
				t.Errorf("%d runs used, only %d are usable", used, usableRuns)
			}
			battery, err := Battery(runs, BatteryRequest{Full: full(50)})
			if err == nil {
				asJSON(t, battery)
			}
			declared, err := Curve(runs, CurveRequest{Declared: 0.01})
			if err == nil {
				asJSON(t, declared)
			}
		})
	}
}
