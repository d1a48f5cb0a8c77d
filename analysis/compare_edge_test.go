package analysis

import (
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"sort"
	"strings"
	"testing"
	"time"

	"sweepd/run"
)

// contractCompare are the fields that readers of the JSON rely on.
var contractCompare = map[string][]string{
	"": {"across", "comparisons"},
	"comparisons": {"metric", "workload", "factor", "a", "b", "device", "supply", "variant", "margin", "confidence", "noise_a", "noise_b", "blocks", "settings", "bands", "crossings", "overall", "flagged",
		"bands_followed", "crossings_followed", "overall_followed"},
	"settings":  {"setting_w", "n_a", "n_b", "mean_a", "mean_b", "diff", "lower", "upper", "se", "df", "p_adjusted", "verdict", "more_runs", "followed", "package_w_a", "package_w_b"},
	"bands":     {"from_w", "to_w", "verdict", "diff", "lower", "upper"},
	"crossings": {"at_w", "lower_w", "upper_w"},
	"overall":   {"diff", "lower", "upper", "verdict"},
	"flagged":   {"run", "setting_w"},
	"across":    {"diff", "lower", "upper", "workloads"},
}

func TestCompareContract(t *testing.T) {
	runs := append(oakAgainstElm(), oakAgainstElm()...)
	for i := len(runs) / 2; i < len(runs); i++ {
		runs[i].Workload = "harbour-flight"
	}
	for _, odd := range []int{8, 8 + len(runs)/2} { // to be flagged
		runs[odd].Results = map[string]run.Result{"score": {Value: 60}}
	}
	result, err := Compare(runs, CompareRequest{By: "device", A: "unit-oak", B: "unit-elm"})
	if err != nil {
		t.Fatal(err)
	}
	text := jsonOf(t, result)
	var tree map[string]any
	if err := json.Unmarshal([]byte(text), &tree); err != nil {
		t.Fatal(err)
	}
	checkFields(t, "", tree)
	for _, list := range []string{"comparisons", "settings", "bands", "crossings", "flagged", "across_pairs", "bands_followed", "crossings_followed"} {
		if strings.Contains(text, fmt.Sprintf("%q:null", list)) {
			t.Errorf("%s is null", list)
		}
	}
}

func checkFields(t *testing.T, place string, object map[string]any) {
	t.Helper()
	for _, field := range contractCompare[place] {
		value, ok := object[field]
		if !ok {
			t.Errorf("%s lacks %s", place, field)
		}
		switch v := value.(type) {
		case map[string]any:
			checkFields(t, field, v)
		case []any:
			if len(v) == 0 && contractCompare[field] != nil {
				t.Errorf("%s is empty: the example is to fill it", field)
			}
			for _, item := range v {
				if inner, ok := item.(map[string]any); ok {
					checkFields(t, field, inner)
				}
			}
		}
	}
}

func TestCompareNoSharedSetting(t *testing.T) {
	runs := append(sameSettings("unit-oak", []float64{10, 15}, oakResults), sameSettings("unit-elm", []float64{12, 18}, elmResults)...)
	c := compareOne(t, runs, CompareRequest{By: "device"})
	if len(c.Settings) != 4 || len(c.Bands) != 0 || len(c.Crossings) != 0 || c.Overall != nil || !has(c.Notes, Note{Code: NoteNothingShared}) {
		t.Errorf("%+v", c)
	}
	for _, s := range c.Settings {
		if s.Verdict != VerdictUnclear || s.Diff.Known() || s.MoreRuns != nil {
			t.Errorf("%+v", s)
		}
	}
}

func TestCompareOneRunOnly(t *testing.T) {
	runs := append(sameSettings("unit-oak", []float64{10}, singles(50)), sameSettings("unit-elm", []float64{10}, singles(40))...)
	c := compareOne(t, runs, CompareRequest{By: "device", A: "unit-oak", B: "unit-elm"})
	s := c.Settings[0]
	near(t, "diff", float64(s.Diff), 0.25, 1e-12)
	if s.Verdict != VerdictUnclear || s.Lower.Known() || s.PAdjusted.Known() || s.MoreRuns != nil || c.NoiseSourceA != NoiseNone {
		t.Errorf("%+v", s)
	}
	if c.Overall == nil || c.Overall.Verdict != VerdictUnclear || c.Overall.Lower.Known() {
		t.Errorf("overall %+v", c.Overall)
	}
	c = compareOne(t, runs, CompareRequest{By: "device", A: "unit-oak", B: "unit-elm", Declared: 0.01})
	if s := c.Settings[0]; s.Verdict != VerdictA || s.DF.Known() || c.NoiseSourceA != NoiseDeclared {
		t.Errorf("with a declared noise of 1 %%: %+v", s)
	}
}

// One side without repeats and too few settings takes the other's noise.
func TestCompareBorrowsNoise(t *testing.T) {
	runs := append(sameSettings("unit-oak", []float64{10, 15}, singles(50, 60)), sameSettings("unit-elm", []float64{10, 15}, elmResults)...)
	c := compareOne(t, runs, CompareRequest{By: "device", A: "unit-oak", B: "unit-elm"})
	if !c.Settings[0].Lower.Known() || !has(c.Notes, Note{Code: NoteNoiseBorrowed}) {
		t.Errorf("%+v, notes %+v", c.Settings[0], c.Notes)
	}
}

// Equal repeats never count as more repeatable than 0.1 %.
func TestCompareEqualValues(t *testing.T) {
	same := [][]float64{{60, 60, 60}, {60, 60, 60}}
	runs := append(sameSettings("unit-oak", []float64{10, 15}, same), sameSettings("unit-elm", []float64{10, 15}, same)...)
	c := compareOne(t, runs, CompareRequest{By: "device"})
	for _, s := range c.Settings {
		near(t, "se", float64(s.SE), math.Sqrt(2e-6/3), 1e-9)
		if s.Verdict != VerdictTie {
			t.Errorf("%+v, want a tie", s)
		}
	}
}

func TestCompareUnusable(t *testing.T) {
	runs := oakAgainstElm()
	for i, v := range []float64{0, -5, math.NaN(), math.Inf(1), math.Inf(-1)} {
		runs[i].Results = map[string]run.Result{"score": {Value: v}}
	}
	runs[5].Results = nil
	runs[6].Setting = atWatts(math.NaN())
	c := compareOne(t, runs, CompareRequest{By: "device", A: "unit-oak", B: "unit-elm"})
	for why, n := range map[NoteCode]int{NoteQuantityUnusable: 5, NoteQuantityMissing: 1, NoteSettingUnusable: 1} {
		if want := (Note{Code: why, Side: "unit-oak", Count: n, Metric: "score"}); !has(c.Notes, want) {
			t.Errorf("notes %+v lack %+v", c.Notes, want)
		}
	}
	if text := jsonOf(t, c); strings.Contains(text, "NaN") || strings.Contains(text, "Inf") {
		t.Error(text)
	}
}

// Ratios beyond what a float64 holds are null, never infinite.
func TestCompareExtremes(t *testing.T) {
	runs := append(sameSettings("unit-oak", []float64{10}, [][]float64{{1e308, 1e308}}), sameSettings("unit-elm", []float64{10}, [][]float64{{5e-324, 5e-324}})...)
	c := compareOne(t, runs, CompareRequest{By: "device", A: "unit-oak", B: "unit-elm"})
	if s := c.Settings[0]; s.Verdict != VerdictA || s.Diff.Known() {
		t.Errorf("%+v", s)
	}
	if text := jsonOf(t, c); !strings.Contains(text, `"diff":null`) || strings.Contains(text, "Inf") {
		t.Error(text)
	}
}

func TestCompareNamedSettings(t *testing.T) {
	runs := append(sameSettings("unit-oak", []float64{10, 15, 20}, [][]float64{{50, 50.1}, {60, 60.2}, {70, 70.1}}),
		sameSettings("unit-elm", []float64{10, 15, 20}, [][]float64{{60, 60.1}, {60.3, 60.2}, {60, 60.1}})...)
	names := map[float64]string{10: "quiet", 15: "balanced", 20: "performance"}
	for i := range runs {
		runs[i].Setting = named(names[setWatts(&runs[i])])
	}
	c := compareOne(t, runs, CompareRequest{By: "device", A: "unit-oak", B: "unit-elm"})
	var order []string
	for _, s := range c.Settings {
		order = append(order, s.Setting)
		if s.SettingW.Known() {
			t.Errorf("%+v has watts", s)
		}
	}
	if want := []string{"quiet", "balanced", "performance"}; !slices.Equal(order, want) {
		t.Errorf("settings %q, want %q", order, want)
	}
	if len(c.Crossings) != 0 || c.Bands[0].From != "quiet" || c.Bands[0].Verdict != VerdictB || c.Bands[len(c.Bands)-1].To != "performance" {
		t.Errorf("crossings %v, bands %+v", c.Crossings, c.Bands)
	}
}

// Settings are equal at equal watts, rounded to 0.01 W.
func TestCompareRoundsSettings(t *testing.T) {
	runs := append(sameSettings("unit-oak", []float64{10.004, 15}, oakResults), sameSettings("unit-elm", []float64{9.996, 15.01}, elmResults)...)
	c := compareOne(t, runs, CompareRequest{By: "device"})
	var shared []float64
	for _, s := range c.Settings {
		if s.NA > 0 && s.NB > 0 {
			shared = append(shared, float64(s.SettingW))
		}
	}
	if len(c.Settings) != 3 || len(shared) != 1 || shared[0] != 10 {
		t.Errorf("shared settings %v of %d, want 10 W alone", shared, len(c.Settings))
	}
}

// Where less is better the letters swap and nothing else.
func TestCompareLowerIsBetter(t *testing.T) {
	runs := oakAgainstElm()
	higher := compareOne(t, runs, CompareRequest{By: "device", A: "unit-oak", B: "unit-elm"})
	for i := range runs {
		runs[i].Results = map[string]run.Result{"score": {Value: runs[i].Results["score"].Value, Better: run.Lower}}
	}
	lower := compareOne(t, runs, CompareRequest{By: "device", A: "unit-oak", B: "unit-elm"})
	for i, s := range higher.Settings {
		l := lower.Settings[i]
		if l.Verdict != turned[s.Verdict] || l.Diff != s.Diff && s.Diff.Known() || l.Upper != s.Upper && s.Upper.Known() {
			t.Errorf("higher %+v, lower %+v", s, l)
		}
	}
	if len(lower.Crossings) != len(higher.Crossings) || lower.Crossings[0] != higher.Crossings[0] {
		t.Errorf("crossings %v and %v", higher.Crossings, lower.Crossings)
	}
}

// The odd run is flagged and stays in the mean.
func TestCompareFlags(t *testing.T) {
	results := slices.Clone(oakResults)
	results[2] = []float64{70, 70.1, 63}
	runs := append(sameSettings("unit-oak", []float64{10, 15, 20, 30}, results), sameSettings("unit-elm", []float64{10, 15, 20, 30}, elmResults)...)
	c := compareOne(t, runs, CompareRequest{By: "device", A: "unit-oak", B: "unit-elm"})
	if len(c.Flagged) != 1 || c.Flagged[0].Run != "unit-oak-20-2" || c.Flagged[0].SettingW != 20 || !has(c.Notes, Note{Code: NoteUnlikeRepeats, Count: 1}) {
		t.Errorf("flagged %+v, notes %+v", c.Flagged, c.Notes)
	}
	near(t, "mean with the odd run", float64(c.Settings[2].MeanA), math.Cbrt(70*70.1*63), 1e-12)
}

// One run alone wins nothing, unless a neighbouring setting agrees.
func TestCompareOneRunAlone(t *testing.T) {
	watts := []float64{8, 10, 12, 15, 18, 22, 26, 30, 35, 40}
	var smooth []float64
	for _, w := range watts {
		smooth = append(smooth, math.Exp(studyCurve(w)))
	}
	verdicts := func(change map[int]float64) (list []Verdict) {
		changed := slices.Clone(smooth)
		for j, by := range change {
			changed[j] *= by
		}
		runs := append(sameSettings("unit-oak", watts, singles(changed...)), sameSettings("unit-elm", watts, singles(smooth...))...)
		for _, s := range compareOne(t, runs, CompareRequest{By: "device", A: "unit-oak", B: "unit-elm", Declared: 0.005}).Settings {
			list = append(list, s.Verdict)
		}
		return list
	}
	if got := verdicts(map[int]float64{4: 0.9})[4]; got != VerdictUnclear {
		t.Errorf("a lone setting with one run: %s, want unclear", got)
	}
	if got := verdicts(map[int]float64{4: 0.9, 5: 0.95})[4]; got != VerdictB {
		t.Errorf("with a neighbour that agrees: %s, want b", got)
	}
	if got := verdicts(map[int]float64{4: 0.9, 5: 1.05})[4]; got != VerdictUnclear {
		t.Errorf("with a neighbour that contradicts: %s, want unclear", got)
	}
}

// Bands keep an unclear setting between two wins; a setting that only one side
// has does not break a band.
func TestBands(t *testing.T) {
	list := []contrast{}
	for i, v := range []Verdict{VerdictA, VerdictA, VerdictUnclear, VerdictA, VerdictTie, VerdictTie} {
		list = append(list, contrast{watts: float64(10 + i), verdict: v, nA: 3, nB: 3})
	}
	list[1].nB = 0
	c := comparisonBuilder{contrasts: list}
	for i := range list {
		list[i].d, list[i].lower, list[i].upper = 0.1*float64(i), 0.1*float64(i)-0.05, 0.1*float64(i)+0.2
	}
	got := bands(c.sharedContrasts())
	want := []Band{{FromW: 10, ToW: 10, Verdict: VerdictA}, {FromW: 12, ToW: 12, Verdict: VerdictUnclear}, {FromW: 13, ToW: 13, Verdict: VerdictA}, {FromW: 14, ToW: 15, Verdict: VerdictTie}}
	stretches := make([]Band, len(got))
	for i, b := range got {
		stretches[i] = stretchOf(b)
	}
	if !slices.Equal(stretches, want) {
		t.Fatalf("bands %v, want %v", got, want)
	}
	for i, mean := range []float64{0, 0.2, 0.3, 0.45} { // of the logarithms
		near(t, "mean", float64(got[i].Diff), math.Expm1(mean), 1e-12)
		near(t, "lower", float64(got[i].Lower), math.Expm1(mean-0.05), 1e-12)
		near(t, "upper", float64(got[i].Upper), math.Expm1(mean+0.2), 1e-12)
	}
}

// stretchOf is where a band is, and its verdict, without its numbers.
func stretchOf(b Band) Band {
	b.Diff, b.Lower, b.Upper = 0, 0, 0
	return b
}

// Published plans: runs per cell that find 3 % with a chance of 0.8 at 20
// settings, from simulations beside the published tables.
func TestMoreRunsPublished(t *testing.T) {
	planner := newRunPlanner(20, 20, 0.95)
	for cv, want := range map[float64]int{0.005: 2, 0.01: 4, 0.02: 14, 0.03: 31} {
		if got := planner.smallest(2*cv*cv, plannedPowerZ, math.Log1p(plannedDifference)); got != want {
			t.Errorf("CV %g: %d runs, want %d", cv, got, want)
		}
	}
}

// The search for the number of runs must agree with trying one after the other.
func TestMoreRunsByTrying(t *testing.T) {
	for _, m := range []int{1, 3, 20} {
		planner := newRunPlanner(m, m, 0.95)
		for _, perRun := range []float64{1e-8, 1e-5, 2e-4, 3e-3} {
			for _, bound := range []float64{0.003, 0.01, 0.0296} {
				enough := func(n int) bool {
					return newMaxModulus(m, float64(2*m*(n-1))).twoSided(0.95)*math.Sqrt(perRun/float64(n)) <= bound
				}
				want := 2 + sort.Search(mostRuns-2, func(i int) bool { return enough(i + 2) })
				if got := planner.smallest(perRun, 0, bound); got != want {
					t.Errorf("m %d, V %g, bound %g: %d runs, want %d", m, perRun, bound, got, want)
				}
			}
		}
	}
}

// Each workload counts once, its interval by the law of propagation.
func TestCompareAcross(t *testing.T) {
	groups := []Group{{"unit-oak", "tile-sort", "mains", ""}, {"unit-elm", "tile-sort", "mains", ""},
		{"unit-oak", "harbour-flight", "mains", ""}, {"unit-elm", "harbour-flight", "mains", ""}}
	level := func(g Group) float64 {
		if g.Device == "unit-oak" && g.Workload == "tile-sort" {
			return 1.1
		}
		return 1
	}
	result, err := Compare(grid(groups, level), CompareRequest{By: "device", A: "unit-oak", B: "unit-elm"})
	if err != nil {
		t.Fatal(err)
	}
	if result.Across == nil || result.Across.Workloads != 2 {
		t.Fatalf("across %+v", result.Across)
	}
	x, y := result.Comparisons[0].Overall, result.Comparisons[1].Overall
	near(t, "diff", float64(1+result.Across.Diff), math.Sqrt(float64((1+x.Diff)*(1+y.Diff))), 1e-12)
	vx, vy := float64(x.SE*x.SE), float64(y.SE*y.SE)
	nu := (vx + vy) * (vx + vy) / (vx*vx/float64(x.DF) + vy*vy/float64(y.DF))
	half := studentQuantile(0.975, nu) * math.Sqrt(vx+vy) / 2
	near(t, "upper", math.Log1p(float64(result.Across.Upper)), math.Log1p(float64(result.Across.Diff))+half, 1e-9)
	single, err := Compare(grid(groups[:2], level), CompareRequest{By: "device"})
	if err != nil || single.Across != nil {
		t.Errorf("one workload: across %+v, error %v", single.Across, err)
	}
}

// Workloads with different results are each compared by their own, and where less
// is better in one of them it is turned over before they are summed up: unit-oak
// is 3 % and 5 % ahead, so (1.03 * 1.05)^(1/2) - 1.
func TestCompareDifferentMetrics(t *testing.T) {
	runs := grid([]Group{{"unit-elm", "harbour-flight", "mains", ""}, {"unit-oak", "harbour-flight", "mains", ""},
		{"unit-elm", "tile-sort", "mains", ""}, {"unit-oak", "tile-sort", "mains", ""}}, oneLevel)
	for i := range runs {
		value := 50 + float64(i%2)/10
		switch oak := runs[i].Device == "unit-oak"; {
		case runs[i].Workload == "harbour-flight" && oak:
			runs[i].Results = map[string]run.Result{"fps_mean": {Value: 50 * 1.03, Unit: "fps"}}
		case runs[i].Workload == "harbour-flight":
			runs[i].Results = map[string]run.Result{"fps_mean": {Value: 50, Unit: "fps"}}
		case oak:
			runs[i].Results = map[string]run.Result{"duration": {Value: 20 / 1.05, Unit: "s", Better: run.Lower}, "load": {Value: value}}
		default:
			runs[i].Results = map[string]run.Result{"duration": {Value: 20, Unit: "s", Better: run.Lower}, "load": {Value: value}}
		}
	}
	result, err := Compare(runs, CompareRequest{By: "device", A: "unit-oak", B: "unit-elm"})
	if err != nil || len(result.Comparisons) != 2 {
		t.Fatal(result, err)
	}
	fps, duration := result.Comparisons[0], result.Comparisons[1]
	if fps.Metric != "fps_mean" || fps.Overall.Verdict != VerdictA || duration.Metric != "duration" || duration.Better != "lower" || duration.Overall.Verdict != VerdictA {
		t.Errorf("%s %s, %s %s %s", fps.Metric, fps.Overall.Verdict, duration.Metric, duration.Better, duration.Overall.Verdict)
	}
	if !has(result.Notes, Note{Code: NoteOtherMetric, Group: Group{Workload: "harbour-flight"}, Metric: "duration", Name: "fps_mean"}) {
		t.Errorf("notes %+v", result.Notes)
	}
	near(t, "across", float64(result.Across.Diff), math.Sqrt(1.03*1.05)-1, 1e-12)
	if x := result.Across; x.Better != "higher" || x.Verdict != VerdictA {
		t.Errorf("across %+v", x)
	}
	if asked, err := Compare(runs, CompareRequest{By: "device", A: "unit-oak", B: "unit-elm", Metric: "duration"}); err != nil || asked.Comparisons[0].Overall != nil {
		t.Errorf("a metric that is asked for is not replaced: %+v, %v", asked.Comparisons[0].Overall, err)
	}
	for i := range runs { // the workload where less is better comes first
		runs[i].Workload = map[string]string{"harbour-flight": "tile-sort", "tile-sort": "harbour-flight"}[runs[i].Workload]
	}
	if turned, err := Compare(runs, CompareRequest{By: "device", A: "unit-oak", B: "unit-elm"}); err != nil || turned.Across.Better != "higher" || turned.Across.Verdict != VerdictA {
		t.Errorf("less is better in the first: across %+v, %v", turned.Across, err)
	}
}

// Several pairs have a mean each, and no single one.
func TestCompareAcrossPairs(t *testing.T) {
	var groups []Group
	for _, device := range []string{"unit-oak", "unit-elm", "unit-ash"} {
		for _, workload := range []string{"tile-sort", "harbour-flight"} {
			groups = append(groups, Group{device, workload, "mains", ""})
		}
	}
	result, err := Compare(grid(groups, oneLevel), CompareRequest{By: "device", B: "unit-elm"})
	if err != nil {
		t.Fatal(err)
	}
	if result.Across != nil || len(result.AcrossPairs) != 2 || !has(result.Notes, Note{Code: NoteSeveralPairs}) {
		t.Errorf("across %v, pairs %v, notes %+v", result.Across, result.AcrossPairs, result.Notes)
	}
}

func TestCompareManyRunsInOneCell(t *testing.T) {
	rng := studyRandom(300, 0)
	var runs []run.Run
	for i := range 10000 {
		device := []string{"unit-oak", "unit-elm"}[i%2]
		runs = append(runs, run.Run{ID: fmt.Sprint(i), Labels: run.Labels{Device: device, Setting: run.Watts(15.0).From(run.Declared)}, StartedAt: run.Timestamp{Time: studyStart.Add(time.Duration(i) * time.Second)},
			Results: map[string]run.Result{"score": {Value: math.Exp(0.02 * rng.NormFloat64())}}})
	}
	c := compareOne(t, runs, CompareRequest{By: "device"})
	if s := c.Settings[0]; s.NA != 5000 || s.NB != 5000 || s.Verdict != VerdictTie {
		t.Errorf("%+v", s)
	}
	for i := range runs { // the same with blocks: one device, 5000 passes
		runs[i].Device, runs[i].Supply = "unit-oak", []run.Supply{run.Mains, run.Battery}[i%2]
	}
	c = compareOne(t, runs, CompareRequest{By: "supply"})
	if c.Blocks != 5000 || c.Settings[0].Verdict != VerdictTie {
		t.Errorf("%d blocks, %+v", c.Blocks, c.Settings[0])
	}
}
