package analysis

import (
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"sweepd/run"
)

// studyWatts are the settings of every simulated campaign.
var studyWatts = []float64{6, 7, 8, 9, 10, 12, 14, 15, 17, 20, 22, 25, 28, 30, 35, 40, 50, 60, 72, 85}

// saturating is the curve of every simulated campaign.
func saturating(w float64) float64 { return 100 * (1 - math.Exp(-(w-2)/11)) }

// simulated makes n runs at each of the watts: the result with relative noise,
// and package watts that follow the setting with the same noise.
func simulated(random *rand.Rand, watts []float64, n int, cv float64, f func(w float64) float64) []run.Run {
	start := time.Date(2026, 11, 24, 8, 0, 0, 0, time.UTC)
	var runs []run.Run
	for k := range n {
		for j := range watts {
			w := watts[j]
			p := w * math.Exp(cv*random.NormFloat64())
			s := 6 + 1.12*p
			runs = append(runs, run.Run{
				ID: fmt.Sprintf("%d-%d", j, k), Labels: run.Labels{Device: "unit-oak", Workload: "harbour-flight", Setting: run.Watts(w).From(run.Declared), Supply: "battery"}, PackageW: &p, SystemW: &s, DurationS: new(60.0),
				StartedAt: run.Timestamp{Time: start.Add(time.Duration(len(runs)) * time.Minute)},
				Results:   map[string]run.Result{"fps_mean": {Value: f(w) * math.Exp(cv*random.NormFloat64()), Unit: "fps"}},
			})
		}
	}
	return runs
}

func oneCurve(t rapid.TB, runs []run.Run, req CurveRequest) CurveGroup {
	t.Helper()
	result, err := Curve(runs, req)
	if err != nil {
		t.Fatal(err)
	}
	if len(result.Groups) != 1 {
		t.Fatalf("%d groups, want 1: %v", len(result.Groups), result.Notes)
	}
	return result.Groups[0]
}

// asJSON marshals and fails on what JSON cannot say.
func asJSON(t rapid.TB, v any) string {
	t.Helper()
	text, err := json.Marshal(v)
	if err != nil {
		t.Fatal(err)
	}
	for _, bad := range []string{"NaN", "Inf", ":null,\"points\"", "\"points\":null", "\"groups\":null", "\"flagged\":null",
		"\"departures\":null", "\"marginal\":null", "\"efficiencies\":null", "\"gains\":null", "\"measured\":null"} {
		if strings.Contains(string(text), bad) {
			t.Fatalf("JSON holds %s: %s", bad, text)
		}
	}
	return string(text)
}

// The fields of the contract, by name, down to the leaves.
func TestCurveContract(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 1))
	result, err := Curve(simulated(random, studyWatts, 3, 0.01, saturating), CurveRequest{})
	if err != nil {
		t.Fatal(err)
	}
	var out map[string]any
	if err := json.Unmarshal([]byte(asJSON(t, result)), &out); err != nil {
		t.Fatal(err)
	}
	has := func(where string, object any, names ...string) map[string]any {
		t.Helper()
		m, ok := object.(map[string]any)
		if !ok {
			t.Fatalf("%s is no object: %v", where, object)
		}
		for _, name := range names {
			if _, ok := m[name]; !ok {
				t.Errorf("%s lacks %q", where, name)
			}
		}
		return m
	}
	has("curve", out, "metric", "groups")
	g := has("group", out["groups"].([]any)[0], "device", "workload", "variant", "supply", "noise", "points", "effective",
		"efficiency", "enough", "knee_w", "departures")
	has("point", g["points"].([]any)[0], "setting_w", "n", "mean", "lower", "upper", "package_w", "system_w", "per_package_w",
		"per_system_w", "per_setting_w")
	has("effective", g["effective"], "from_w", "to_w", "floor_w", "cap_w")
	has("efficiency", g["efficiency"], "by", "peak_w", "from_w", "to_w")
	has("enough", g["enough"], "at_w", "share", "from_w", "to_w")
	if len(g["efficiencies"].([]any)) != 3 {
		t.Errorf("%d efficiencies, want by package, system and setting", len(g["efficiencies"].([]any)))
	}
}

// Table of section 12, item 4 of the methods, side A: the points by hand.
func TestCurvePoints(t *testing.T) {
	watts := []float64{10, 15, 20, 30}
	runs := sameSettings("unit-elm", watts, [][]float64{{50, 50.2, 49.9}, {60.3, 60, 60.1}, {70, 70.1, 63}, {80, 80.2, 79.9}})
	g := oneCurve(t, runs, CurveRequest{Metric: "score"})
	// Base R 4.2.2: sqrt V 0.003512541517 with 7 df, 0.06124618023 at 20 W.
	for j, sd := range []float64{0.003512541517, 0.003512541517, 0.06124618023, 0.003512541517} {
		near(t, "noise", float64(g.Points[j].Noise), sd, 1e-9)
		near(t, "df", float64(g.Points[j].DF), 7, 1e-12)
		mean := math.Exp((math.Log(runs[3*j].Results["score"].Value) + math.Log(runs[3*j+1].Results["score"].Value) +
			math.Log(runs[3*j+2].Results["score"].Value)) / 3)
		near(t, "mean", float64(g.Points[j].Mean), mean, 1e-12)
		half := 2.364624252 * sd / math.Sqrt(3) // t(0.975, 7) of any table
		near(t, "lower", float64(g.Points[j].Lower), mean*math.Exp(-half), 1e-9)
		near(t, "upper", float64(g.Points[j].Upper), mean*math.Exp(half), 1e-9)
	}
	if len(g.Flagged) != 1 || g.Flagged[0].SettingW != 20 {
		t.Errorf("flagged %+v, want the run of 63 at 20 W", g.Flagged)
	}
	if g.NoiseSource != NoisePooledRoughness || !has(g.Notes, Note{Code: NoteNoiseFewRepeats}) || !has(g.Notes, Note{Code: NoteUnlikeRepeats, Count: 1}) {
		t.Errorf("source %s, notes %v: want pooled+roughness and a note", g.NoiseSource, g.Notes)
	}
}

// Fleming & Wallace 1986, CACM 29:218-221: the geometric mean of 4, 1 and 1/32 is
// 1/2, and the times of machines R and M have a ratio of geometric means of
// 0.857436734 (printed .86), whichever is the base (nobody saw the paper for this;
// the ratios were worked out anew with R 4.2.2).
func TestCurveMeansAreGeometric(t *testing.T) {
	g := oneCurve(t, sameSettings("unit-oak", []float64{10}, [][]float64{{4, 1, 1. / 32}}), CurveRequest{})
	near(t, "mean", float64(g.Points[0].Mean), 0.5, 1e-12)
	g = oneCurve(t, sameSettings("unit-oak", []float64{10, 20},
		[][]float64{{417, 83, 66, 39449, 772}, {244, 70, 153, 33527, 368}}), CurveRequest{})
	near(t, "M over R", float64(g.Points[1].Mean/g.Points[0].Mean), 0.857436734, 1e-9)
	near(t, "R over M", float64(g.Points[0].Mean/g.Points[1].Mean), 1.166266804, 1e-9)
}

// One run cannot tell a dip from a bad run.
func TestCurveSingleDip(t *testing.T) {
	watts := []float64{6, 8, 10, 12, 15, 18, 22, 26, 30, 36, 43, 50}
	var results [][]float64
	for _, w := range watts {
		results = append(results, []float64{saturating(w)})
	}
	results[7][0] *= 0.7
	g := oneCurve(t, sameSettings("unit-oak", watts, results), CurveRequest{})
	if len(g.Departures) != 1 || g.Departures[0].SettingW != 26 || !has(g.Notes, Note{Code: NoteSingleRunDepartures, Count: 1}) {
		t.Errorf("departures %+v, notes %+v: want 26 W and a note", g.Departures, g.Notes)
	}
	if p := g.Points[7]; !(math.Log(float64(p.Upper/p.Lower)) > 2*math.Log(1/0.7)) {
		t.Errorf("the interval %v..%v does not reach back to the trend", p.Lower, p.Upper)
	}
}

// A departed setting does not hold its neighbours down: 90 % of the best is
// reached at 28 W (0.906 of the limit, against 0.900), whatever 30 W does.
func TestCurveEnoughWithoutDepartures(t *testing.T) {
	random := rand.New(rand.NewPCG(4, 1))
	runs := simulated(random, studyWatts, 3, 0.001, dip(map[float64]float64{30: 0.2}))
	g := oneCurve(t, runs, CurveRequest{Share: 0.9})
	if len(g.Departures) != 1 || g.Departures[0].SettingW != 30 || g.Enough.AtW != 28 || g.Enough.Share != 0.9 {
		t.Errorf("departures %+v, enough %+v, want 30 W, and 28 W for 90 %%", g.Departures, g.Enough)
	}
}

// A device with a floor of 11 W and a cap of 45 W, seen by its package power.
func TestCurveIgnoredSettings(t *testing.T) {
	random := rand.New(rand.NewPCG(2, 1))
	runs := simulated(random, studyWatts, 3, 0.01, func(w float64) float64 { return saturating(min(max(w, 11), 45)) })
	for i := range runs {
		p := *runs[i].PackageW / setWatts(&runs[i]) * min(max(setWatts(&runs[i]), 11), 45)
		runs[i].PackageW = &p
	}
	e := oneCurve(t, runs, CurveRequest{}).Effective
	if e.FromW != 12 || e.ToW != 40 || e.Source != RangeFromPackage {
		t.Errorf("range %+v, want 12 to 40 W from package watts", e)
	}
	within(t, "floor", float64(e.FloorW), 11, 0.15)
	within(t, "cap", float64(e.CapW), 45, 0.5)
}

// The same device without the sensor: the floor shows, the cap does not.
func TestCurveIgnoredSettingsFromResults(t *testing.T) {
	random := rand.New(rand.NewPCG(2, 2))
	runs := simulated(random, studyWatts, 3, 0.01, func(w float64) float64 { return saturating(min(max(w, 11), 45)) })
	for i := range runs {
		runs[i].PackageW, runs[i].SystemW = nil, nil
	}
	g := oneCurve(t, runs, CurveRequest{})
	if e := g.Effective; e.FromW != 12 || e.ToW != 85 || e.Source != RangeFromResults || e.CapW.Known() {
		t.Errorf("range %+v, want 12 W up, from results", e)
	}
	within(t, "floor", float64(g.Effective.FloorW), 11, 0.4)
	if !has(g.Notes, Note{Code: NoteRangeByResults, Of: len(studyWatts)}) {
		t.Errorf("notes %+v do not say that the range is from results alone", g.Notes)
	}
	if g.Efficiency.By != BySetting {
		t.Errorf("efficiency by %q, want by set watts", g.Efficiency.By)
	}
	if g.Efficiency.PeakW < 12 {
		t.Errorf("efficiency peaks at the ignored setting %v W", g.Efficiency.PeakW)
	}
}

// Without package power only results tell whether the settings matter at all.
func TestCurveFlatResults(t *testing.T) {
	for name, f := range map[string]func(w float64) float64{"flat": flat, "rising": saturating} {
		runs := simulated(rand.New(rand.NewPCG(6, 1)), studyWatts, 3, 0.01, f)
		for i := range runs {
			runs[i].PackageW = nil
		}
		if _, said := oneOf(oneCurve(t, runs, CurveRequest{}).Notes, NoteFlatResults); said != (name == "flat") {
			t.Errorf("%s: said to be flat: %v", name, said)
		}
	}
}

// Why no range was tested, told from the runs: which settings have package watts,
// how many settings there are, whether there is a noise.
func TestCurveRangeNotTested(t *testing.T) {
	for name, c := range map[string]struct {
		settings, measured, n int
		want                  Note
	}{
		"one setting with package watts":  {1, 1, 3, Note{Code: NoteRangeNotTested, Count: 1, InLine: 1, Of: 1}},
		"two settings with package watts": {2, 2, 3, Note{Code: NoteRangeNotTested, Count: 2, InLine: 2, Of: 2}},
		"three without":                   {3, 0, 3, Note{Code: NoteRangeNotTested, InLine: 3, Of: 3}},
		"single runs without":             {3, 0, 1, Note{Code: NoteRangeWithoutNoise, InLine: 3, Of: 3}},
		"a few with":                      {8, 2, 3, Note{Code: NoteRangeByResults, Count: 2, Of: 8}},
	} {
		runs := simulated(rand.New(rand.NewPCG(5, 1)), studyWatts[8:8+c.settings], c.n, 0.01, saturating)
		for i := range runs {
			if i%c.settings >= c.measured {
				runs[i].PackageW = nil
			}
		}
		if g := oneCurve(t, runs, CurveRequest{}); !has(g.Notes, c.want) || (g.Effective.Source == "") != (c.want.Code != NoteRangeByResults) {
			t.Errorf("%s: notes %+v, range %+v, want %+v", name, g.Notes, g.Effective, c.want)
		}
	}
}

// Marginal gain: exact results of a straight line through the origin double with
// the watts, so that from 10 to 20 W each watt buys 10 %.
func TestMarginalGain(t *testing.T) {
	watts := []float64{10, 20, 30}
	runs := sameSettings("unit-oak", watts, [][]float64{{10, 10.01, 9.99}, {20, 20.02, 19.98}, {30, 30.03, 29.97}})
	g := oneCurve(t, runs, CurveRequest{})
	within(t, "10 to 20 W", float64(g.Marginal[0].PercentPerWatt), 10, 1e-3)
	within(t, "20 to 30 W", float64(g.Marginal[1].PercentPerWatt), 5, 1e-3)
	if !g.Marginal[0].Significant || !(g.Marginal[0].Lower < 10 && g.Marginal[0].Upper > 10) {
		t.Errorf("%+v", g.Marginal[0])
	}
}

// Lower is better: the inverse results give the mirrored curve.
func TestCurveLowerIsBetter(t *testing.T) {
	random := rand.New(rand.NewPCG(3, 1))
	runs := simulated(random, studyWatts, 3, 0.01, func(w float64) float64 {
		if w == 30 {
			return 0.9 * saturating(w)
		}
		return saturating(w)
	})
	mirrored := slices.Clone(runs)
	for i := range mirrored {
		v := mirrored[i].Results["fps_mean"].Value
		mirrored[i].Results = map[string]run.Result{"fps_mean": {Value: 1 / v, Unit: "s", Better: run.Lower}}
	}
	a, b := oneCurve(t, runs, CurveRequest{}), oneCurve(t, mirrored, CurveRequest{})
	if len(a.Departures) != 1 || a.Departures[0].SettingW != 30 {
		t.Fatalf("departures %+v, want 30 W", a.Departures)
	}
	if diff := differences(t, a.Departures, b.Departures, 1e-9); len(diff) > 0 {
		t.Error(diff)
	}
	if diff := differences(t, a.Marginal, b.Marginal, 1e-9); len(diff) > 0 {
		t.Error(diff)
	}
	if diff := differences(t, a.Efficiencies, b.Efficiencies, 1e-9); len(diff) > 0 {
		t.Error(diff)
	}
	if diff := differences(t, []any{a.Enough, a.KneeW, a.Effective}, []any{b.Enough, b.KneeW, b.Effective}, 1e-9); len(diff) > 0 {
		t.Error(diff)
	}
	for j := range a.Points {
		near(t, "mean", float64(b.Points[j].Mean), 1/float64(a.Points[j].Mean), 1e-12)
		near(t, "lower", float64(b.Points[j].Lower), 1/float64(a.Points[j].Upper), 1e-12)
		near(t, "upper", float64(b.Points[j].Upper), 1/float64(a.Points[j].Lower), 1e-12)
	}
}

// differences lists where the JSON of two values differs by more than the
// relative tolerance.
func differences(t rapid.TB, a, b any, tolerance float64) []string {
	t.Helper()
	var trees [2]any
	for i, v := range []any{a, b} {
		if err := json.Unmarshal([]byte(asJSON(t, v)), &trees[i]); err != nil {
			t.Fatal(err)
		}
	}
	return treeDifferences("", trees[0], trees[1], tolerance)
}

func treeDifferences(path string, a, b any, tolerance float64) (found []string) {
	switch a := a.(type) {
	case float64:
		if b, ok := b.(float64); ok && math.Abs(a-b) <= tolerance*max(math.Abs(a), math.Abs(b)) {
			return nil
		}
	case []any:
		if b, ok := b.([]any); ok && len(a) == len(b) {
			for i := range a {
				found = append(found, treeDifferences(fmt.Sprintf("%s[%d]", path, i), a[i], b[i], tolerance)...)
			}
			return found
		}
	case map[string]any:
		if b, ok := b.(map[string]any); ok {
			for k := range a {
				found = append(found, treeDifferences(path+"."+k, a[k], b[k], tolerance)...)
			}
			return found
		}
	default:
		if a == b {
			return nil
		}
	}
	return []string{fmt.Sprintf("%s: %v against %v", path, a, b)}
}

func TestCurveNamedSettings(t *testing.T) {
	var runs []run.Run
	watts := 15.0
	for k := range 3 {
		for j, name := range []string{"performance", "quiet", "balanced"} {
			runs = append(runs, run.Run{ID: fmt.Sprint(j, k), Labels: run.Labels{Device: "unit-oak", Workload: "tile-sort", Setting: run.Named(name).From(run.Declared)}, PackageW: &watts,
				Results: map[string]run.Result{"score": {Value: []float64{80, 50, 65}[j] + 0.1*float64(k)}}})
		}
	}
	g := oneCurve(t, runs, CurveRequest{})
	var names []string
	for _, p := range g.Points {
		names = append(names, p.Setting)
		if p.SettingW.Known() || p.PerSettingW.Known() {
			t.Errorf("%s has watts: %+v", p.Setting, p)
		}
	}
	if want := []string{"quiet", "balanced", "performance"}; !slices.Equal(names, want) {
		t.Errorf("order %v, want %v", names, want)
	}
	if g.KneeW.Known() || g.Enough.AtW.Known() || g.Effective.FromW.Known() || len(g.Marginal) != 0 {
		t.Errorf("named settings have watts: %+v", g)
	}
	if len(g.Efficiencies) != 1 || g.Efficiency.By != ByPackage || g.Efficiency.Peak != "performance" {
		t.Errorf("efficiency %+v, want by package, peak at performance", g.Efficiency)
	}
	asJSON(t, g)
}

func TestCurveMetric(t *testing.T) {
	w := 10.0
	with := func(names ...string) run.Run {
		r := run.Run{Labels: run.Labels{Device: "unit-oak", Setting: run.Watts(w).From(run.Declared)}, Results: map[string]run.Result{}}
		for _, n := range names {
			r.Results[n] = run.Result{Value: 1}
		}
		return r
	}
	for _, c := range []struct {
		runs []run.Run
		want string
	}{
		{[]run.Run{with("score", "fps_mean"), with("score")}, "score"},
		{[]run.Run{with("score", "fps_mean"), with("score", "fps_mean")}, "fps_mean"},
	} {
		got, err := Curve(c.runs, CurveRequest{})
		if err != nil || got.Metric != c.want {
			t.Errorf("metric %q (%v), want %q", got.Metric, err, c.want)
		}
	}
	for name, c := range map[string]struct {
		runs []run.Run
		req  CurveRequest
	}{
		"no run":         {nil, CurveRequest{}},
		"no result":      {[]run.Run{{}}, CurveRequest{}},
		"unknown metric": {[]run.Run{with("score")}, CurveRequest{Metric: "fps"}},
		"share":          {[]run.Run{with("score")}, CurveRequest{Share: 2}},
		"share NaN":      {[]run.Run{with("score")}, CurveRequest{Share: math.NaN()}},
		"noise":          {[]run.Run{with("score")}, CurveRequest{Declared: -1}},
	} {
		if _, err := Curve(c.runs, c.req); err == nil {
			t.Errorf("%s: no error", name)
		}
	}
}
