package analysis

import (
	"math"
	"slices"
	"testing"

	"sweepd/run"
)

// curveNodes samples a function at the given places.
func curveNodes(f func(x float64) float64, places ...float64) []node {
	nodes := make([]node, len(places))
	for i, p := range places {
		nodes[i] = node{p: p, y: f(p), n: 1, vy: 1e-4, vp: 1e-4, nu: 10}
	}
	return nodes
}

// A blend of two parabolas is exact for any parabola, and leaves nothing open.
func TestInterpolateParabola(t *testing.T) {
	f := func(x float64) float64 { return 3 - 2*x + 0.7*x*x }
	nodes := curveNodes(f, 0, 0.4, 1.1, 1.5, 2.6)
	for x := 0.0; x <= 2.6; x += 0.05 {
		v := interpolate(nodes, x)
		if math.Abs(v.y-f(x)) > 1e-12 || v.delta > 1e-12 {
			t.Errorf("at %g: %g, want %g; open %g", x, v.y, f(x), v.delta)
		}
		if sum := v.weights[0] + v.weights[1] + v.weights[2] + v.weights[3]; math.Abs(sum-1) > 1e-12 {
			t.Errorf("at %g the weights sum to %g", x, sum)
		}
	}
}

// With equal spacing the blend is the Catmull-Rom spline, whose weights half way
// are -1/16, 9/16, 9/16, -1/16 (Catmull & Rom 1974).
func TestInterpolateCatmullRom(t *testing.T) {
	nodes := curveNodes(math.Exp, 0, 1, 2, 3)
	got := interpolate(nodes, 1.5).weights
	for i, want := range []float64{-1.0 / 16, 9.0 / 16, 9.0 / 16, -1.0 / 16} {
		if math.Abs(got[i]-want) > 1e-15 {
			t.Errorf("weights %v", got)
		}
	}
}

// On a curve that is no parabola, the true value lies within what is left open
// or very near; at a node nothing is left open.
func TestInterpolateLeavesOpen(t *testing.T) {
	f := func(x float64) float64 { return studyCurve(math.Exp(x)) }
	places := make([]float64, len(studyWatts))
	for i, w := range studyWatts {
		places[i] = math.Log(w)
	}
	nodes := curveNodes(f, places...)
	for x := places[0]; x <= places[len(places)-1]; x += 0.01 {
		if v := interpolate(nodes, x); math.Abs(v.y-f(x)) > v.delta+2e-4 {
			t.Errorf("at %.4g W: off by %.2g, open %.2g", math.Exp(x), v.y-f(x), v.delta)
		}
	}
	for i, x := range places {
		if v := interpolate(nodes, x); v.y != nodes[i].y && math.Abs(v.y-nodes[i].y) > 1e-14 || v.delta > 1e-14 {
			t.Errorf("at a node: %+v", v)
		}
	}
}

func TestInterpolateFewNodes(t *testing.T) {
	f := func(x float64) float64 { return 1 + 2*x }
	if v := interpolate(curveNodes(f, 0.5), 0.5); v.y != 2 {
		t.Errorf("one node: %+v", v)
	}
	if v := interpolate(curveNodes(f, 0, 1), 0.25); math.Abs(v.y-1.5) > 1e-15 || v.slope != 2 {
		t.Errorf("two nodes: %+v", v)
	}
	bent := interpolate(curveNodes(func(x float64) float64 { return x * x }, 0, 1, 2), 0.5)
	if math.Abs(bent.y-0.25) > 1e-15 || math.Abs(bent.delta-0.25) > 1e-15 {
		t.Errorf("three nodes: %+v, want the parabola, open as far as the straight line", bent)
	}
}

// Law of propagation of uncertainty (JCGM 100 5.2): u^2(P = V I) with the
// correlation, from H.2's data rel 1e-7. ln P = ln V + ln I is a value with
// slope -1 against ln I.
func TestUncertaintyCorrelated(t *testing.T) {
	const v, uv, i, ui, r = 4.999, 0.00320936, 19.661e-3, 9.47100839e-6, -0.355311220
	at := node{y: math.Log(v), p: math.Log(i), n: 5, vy: uv * uv / v / v, vp: ui * ui / i / i, cv: r * uv / v * ui / i, nu: 4}
	variance, nu, n := interpolation{slope: -1, weights: [4]float64{1}}.uncertainty([]node{at})
	near(t, "u(P)", v*i*math.Sqrt(variance), 6.40324563e-5, 1e-6)
	if nu != 4 || n != 5 {
		t.Errorf("nu %g, n %d", nu, n)
	}
}

func TestTargets(t *testing.T) {
	at := func(watts ...float64) []node {
		var places []float64
		for _, w := range watts {
			places = append(places, math.Log(w))
		}
		return curveNodes(math.Exp, places...)
	}
	for _, c := range []struct {
		name       string
		a, b, want []float64
	}{
		{"as many: geometric means", []float64{8, 18, 32}, []float64{8, 20, 32}, []float64{8, math.Sqrt(18 * 20), 32}},
		{"fewer decide", []float64{8, 18, 25, 32}, []float64{8, 20, 32}, []float64{8, 20, 32}},
		{"common range only", []float64{5, 10, 20, 40}, []float64{9, 15, 30}, []float64{10, 20}},
		{"apart", []float64{5, 6}, []float64{9, 15}, nil},
		{"within 3 % of the end", []float64{10, 20}, []float64{10.2, 15, 20}, []float64{10.2, 20}},
		{"nothing", nil, []float64{9, 15}, nil},
	} {
		for range 2 {
			var got []float64
			for _, x := range targets(at(c.a...), at(c.b...)) {
				got = append(got, math.Round(1e6*math.Exp(x))/1e6)
			}
			for i := range c.want {
				c.want[i] = math.Round(1e6*c.want[i]) / 1e6
			}
			if !slices.Equal(got, c.want) {
				t.Errorf("%s: %v, want %v", c.name, got, c.want)
			}
			c.a, c.b = c.b, c.a
		}
	}
}

// Watts that are the same in every repeat go with no result; equal ones move together.
func TestCorrelation(t *testing.T) {
	runs := sameSettings("unit-oak", []float64{10, 20, 30}, [][]float64{{50, 51, 52}, {60, 61, 62}, {70, 71, 72}})
	results, _ := buildSamples(runs, nil, resultNamed("score"))
	s := side{runs: runs, samples: results, noise: estimateNoise(results, noiseOptions{})}
	constant := func(r *run.Run) (float64, bool) { return 10, true }
	for name, c := range map[string]struct {
		power quantity
		want  float64
	}{"constant": {constant, 0}, "equal": {resultNamed("score"), 1}, "inverse": {quotient(constant, resultNamed("score")), -1}} {
		power, _ := buildSamples(runs, nil, c.power)
		if got := s.correlation(power, estimateNoise(power, noiseOptions{})); !(math.Abs(got-c.want) < 1e-9) {
			t.Errorf("%s: correlation %v, want %v", name, got, c.want)
		}
	}
}

// Settings that the device ignores draw the same watts and become one point.
func TestMergeNodes(t *testing.T) {
	got := mergeNodes(curveNodes(func(x float64) float64 { return 2 * x }, math.Log(10.8), math.Log(10.85), math.Log(10.9), math.Log(12)))
	if len(got) != 2 || got[0].n != 3 {
		t.Fatalf("%+v", got)
	}
	near(t, "variance of three runs", got[0].vy, 1e-4/3, 1e-12)
	near(t, "their mean", got[0].p, (math.Log(10.8)+math.Log(10.85)+math.Log(10.9))/3, 1e-12)
}

// Two devices with one curve of results over watts drawn, one of which draws
// 20 % more than set: at equal settings it is ahead, at equal watts it is not.
func TestCompareAtPackage(t *testing.T) {
	rng := studyRandom(500, 0)
	runs := alignedCampaign(rng, 3, 0.005, studyCurve)
	at := func(kind string) Comparison {
		return compareOne(t, runs, CompareRequest{By: "device", A: "unit-oak", B: "unit-elm", At: kind})
	}
	if c := at(AtSetting); wins(c) == 0 {
		t.Errorf("at equal settings nothing is ahead: %+v", c.Bands)
	}
	c := at(AtPackage)
	if won := wins(c); won > 0 || c.Overall.Verdict != VerdictTie {
		t.Errorf("at equal watts %d settings are won, overall %+v", won, c.Overall)
	}
	for i, x := range c.Settings {
		if x.SettingW < 6 || x.SettingW > 85 || i > 0 && x.SettingW <= c.Settings[i-1].SettingW {
			t.Errorf("place %d is %v W, want places that rise within the 6 to 85 W of both", i, x.SettingW)
		}
	}
	if !has(c.Notes, Note{Code: NoteEqualWatts, Watts: []string{AtPackage}}) {
		t.Errorf("notes %+v", c.Notes)
	}
	if c := at(AtSystem); len(c.Settings) != 0 || !has(c.Notes, Note{Code: NoteQuantityMissing, Side: "unit-oak", Count: len(runs) / 2, Metric: "score", Watts: []string{AtSystem}}) {
		t.Errorf("no run has system watts: %+v", c)
	}
	c = compareOne(t, runs, CompareRequest{By: "device", A: "unit-oak", B: "unit-elm", At: AtSystem, Per: AtSystem})
	if left, ok := oneOf(c.Notes, NoteQuantityMissing); !ok || !slices.Equal(left.Watts, []string{AtSystem}) {
		t.Errorf("system watts are needed once: %+v", left)
	}
}

// Results per watt: the device that draws less for the same results is ahead,
// and where less is better the result's inverse counts.
func TestComparePer(t *testing.T) {
	runs := oakAgainstElm()
	for i := range runs {
		draw := setWatts(&runs[i])
		if runs[i].Device == "unit-oak" {
			draw *= 0.8
		}
		runs[i].PackageW = &draw
	}
	req := CompareRequest{By: "device", A: "unit-oak", B: "unit-elm", Per: AtPackage}
	c := compareOne(t, runs, req)
	if c.Settings[1].Verdict != VerdictA || c.Better != "higher" || c.Per != AtPackage {
		t.Errorf("%+v", c)
	}
	near(t, "mean results per watt", float64(c.Settings[0].MeanA), math.Cbrt(50*50.2*49.9)/8, 1e-12)
	for i := range runs {
		runs[i].Results = map[string]run.Result{"seconds": {Value: 1 / runs[i].Results["score"].Value, Better: run.Lower}}
	}
	inverse := compareOne(t, runs, req)
	for i, s := range inverse.Settings {
		if s.Verdict != c.Settings[i].Verdict {
			t.Errorf("as seconds: %+v, as score: %+v", s, c.Settings[i])
		}
	}
	near(t, "mean work per joule", float64(inverse.Settings[0].MeanA), float64(c.Settings[0].MeanA), 1e-12)
}
