package analysis

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"sweepd/run"
)

// grid makes three repeats at three settings for every group, in passes over all
// groups, with a result of level(group) times the setting's.
func grid(groups []Group, level func(Group) float64) []run.Run {
	var runs []run.Run
	for k := range 3 {
		for _, g := range groups {
			for j, w := range []float64{10, 15, 20} {
				wiggle := 1 + 0.002*float64((k*7+j*5+len(runs)*3)%5-2)
				runs = append(runs, run.Run{
					ID: fmt.Sprint(len(runs)), Labels: run.Labels{Device: g.Device, Workload: g.Workload, Setting: run.Watts(w).From(run.Declared), Supply: run.Supply(g.Supply), Variant: run.Variant(g.Variant)}, StartedAt: run.Timestamp{Time: studyStart.Add(time.Duration(len(runs)) * time.Minute)}, DurationS: new(60.0),
					Results: map[string]run.Result{"score": {Value: level(g) * math.Exp(studyCurve(w)) * wiggle}},
				})
			}
		}
	}
	return runs
}

func oneLevel(Group) float64 { return 1 }

// sidesOf lists "a against b" of every comparison, with the workload, device,
// supply and variant that both sides share.
func sidesOf(r CompareResult) (list []string) {
	shared := func(s *string) string {
		if s == nil {
			return "*"
		}
		return *s
	}
	for _, c := range r.Comparisons {
		list = append(list, fmt.Sprintf("%s against %s, %s %s %s %s", c.A, c.B, c.Workload, shared(c.Device), shared(c.Supply), shared(c.Variant)))
	}
	return list
}

func TestCompareSides(t *testing.T) {
	oak, elm, ash := "unit-oak", "unit-elm", "unit-ash"
	two := []Group{{oak, "tile-sort", "mains", ""}, {elm, "tile-sort", "mains", ""}}
	three := append(slices.Clone(two), Group{ash, "tile-sort", "mains", ""})
	supplies := []Group{{oak, "tile-sort", "mains", ""}, {oak, "tile-sort", "battery", ""}, {oak, "harbour-flight", "mains", ""}, {oak, "harbour-flight", "battery", ""}}
	cores := []Group{{oak, "tile-sort", "mains", "cores=6"}, {oak, "tile-sort", "mains", "cores=12"}, {oak, "tile-sort", "mains", ""}, {elm, "tile-sort", "mains", "cores=12"}}
	for _, c := range []struct {
		name   string
		groups []Group
		req    CompareRequest
		want   []string
	}{
		{"two devices, unsaid", two, CompareRequest{By: "device"}, []string{"unit-elm against unit-oak, tile-sort * mains "}},
		{"one side said", two, CompareRequest{By: "device", A: oak}, []string{"unit-oak against unit-elm, tile-sort * mains "}},
		{"all against one", three, CompareRequest{By: "device", B: elm}, []string{
			"unit-ash against unit-elm, tile-sort * mains ", "unit-oak against unit-elm, tile-sort * mains "}},
		{"supply, each workload", supplies, CompareRequest{By: "supply"}, []string{
			"battery against mains, harbour-flight unit-oak * ", "battery against mains, tile-sort unit-oak * "}},
		{"supply the other way", supplies[:2], CompareRequest{By: "supply", A: "mains"}, []string{
			"mains against battery, tile-sort unit-oak * "}},
		{"variant", cores, CompareRequest{By: "variant", A: "cores=6", B: "cores=12"}, []string{
			"cores=6 against cores=12, tile-sort unit-oak mains *"}},
		{"all variants against one", cores, CompareRequest{By: "variant", B: "cores=12"}, []string{
			"cores= against cores=12, tile-sort unit-oak mains *", "cores=6 against cores=12, tile-sort unit-oak mains *"}},
		{"without the key", cores, CompareRequest{By: "variant", A: "cores=", B: "cores=6"}, []string{
			"cores= against cores=6, tile-sort unit-oak mains *"}},
		{"any two selections", cores, CompareRequest{By: "device", A: "device=unit-oak,cores=6", B: "device=unit-elm"}, []string{
			"device=unit-oak,cores=6 against device=unit-elm,cores=12, tile-sort * mains *"}},
		{"device by level of the variant", cores, CompareRequest{By: "device"}, []string{
			"unit-elm against unit-oak, tile-sort * mains cores=12"}},
	} {
		result, err := Compare(grid(c.groups, oneLevel), c.req)
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		if got := sidesOf(result); !slices.Equal(got, c.want) {
			t.Errorf("%s:\n got %q\nwant %q", c.name, got, c.want)
		}
	}
}

func TestCompareFactorNames(t *testing.T) {
	groups := []Group{{"unit-oak", "tile-sort", "mains", "cores=6"}, {"unit-elm", "tile-sort", "battery", ""}}
	result, err := Compare(grid(groups, oneLevel), CompareRequest{A: "device=unit-oak,supply=mains,cores=6", B: "device=unit-elm"})
	if err != nil {
		t.Fatal(err)
	}
	c := result.Comparisons[0]
	if c.Factor != "selection" || c.A != "device=unit-oak,supply=mains,cores=6" || c.B != "device=unit-elm,supply=battery" {
		t.Errorf("factor %s, a %s, b %s", c.Factor, c.A, c.B)
	}
}

func TestCompareRefuses(t *testing.T) {
	runs := grid([]Group{{"unit-oak", "tile-sort", "mains", ""}, {"unit-elm", "tile-sort", "mains", ""}, {"unit-ash", "tile-sort", "battery", ""}}, oneLevel)
	for _, c := range []struct {
		req  CompareRequest
		want string // part of the sentence
	}{
		{CompareRequest{By: "colour"}, "expected device, supply or variant"},
		{CompareRequest{By: "device"}, "found unit-ash, unit-elm, unit-oak"},
		{CompareRequest{By: "device", A: "unit-oak", B: "unit-yew"}, "the runs are of unit-ash, tile-sort, battery; unit-elm"},
		{CompareRequest{By: "device", A: "unit-oak", B: "unit-ash"}, "nothing to compare"},
		{CompareRequest{By: "variant", A: "six", B: "cores=12"}, "expected pairs such as cores=6"},
		{CompareRequest{By: "variant", A: "cores=6"}, `side a "cores=6", side b "cores="`},
		{CompareRequest{By: "variant"}, "side b is not given"},
		{CompareRequest{A: "workload=tile-sort", B: "device=unit-elm"}, "sides cannot differ in workload"},
		{CompareRequest{A: "device=unit-elm,device=unit-oak", B: "device=unit-elm"}, "given twice"},
		{CompareRequest{A: "device=unit-elm,=6", B: "device=unit-elm"}, "not a pair"},
		{CompareRequest{By: "device", B: "unit-elm", Metric: "frames"}, `no selected run has the result "frames"`},
		{CompareRequest{By: "device", B: "unit-elm", At: "shelf"}, "expected setting, package or system"},
		{CompareRequest{By: "device", B: "unit-elm", Margin: pointer(-0.1)}, "margin -0.1"},
		{CompareRequest{By: "device", B: "unit-elm", Margin: pointer(math.NaN())}, "margin NaN"},
		{CompareRequest{By: "device", B: "unit-elm", Confidence: 95}, "confidence 95"},
		{CompareRequest{By: "device", B: "unit-elm", Declared: math.Inf(1)}, "declared noise"},
	} {
		_, err := Compare(runs, c.req)
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%+v: error %v, want %q in it", c.req, err, c.want)
		}
	}
	if _, err := Compare(nil, CompareRequest{By: "supply"}); !errors.Is(err, ErrNoComparison) || !strings.Contains(err.Error(), "no run was selected") {
		t.Errorf("no runs: %v, want ErrNoComparison", err)
	}
}

// Groups of a side without a counterpart are named, not silently dropped; those that
// have one, or belong to no side, are not.
func TestCompareNamesTheLonely(t *testing.T) {
	groups := []Group{{"unit-oak", "tile-sort", "mains", ""}, {"unit-elm", "tile-sort", "mains", ""}, {"unit-oak", "harbour-flight", "mains", ""}, {"unit-ash", "harbour-flight", "mains", ""}}
	result, err := Compare(grid(groups, oneLevel), CompareRequest{By: "device", A: "unit-oak", B: "unit-elm"})
	if err != nil {
		t.Fatal(err)
	}
	var lonely []Group
	for _, n := range result.Notes {
		if n.Code == NoteNoCounterpart {
			lonely = append(lonely, n.Group)
		}
	}
	if !slices.Equal(lonely, groups[2:3]) {
		t.Errorf("without a counterpart: %+v, want %+v", lonely, groups[2:3])
	}
}

// Several levels against one are adjusted together: the bounds of three devices
// are those of the settings of all comparisons.
func TestCompareFamily(t *testing.T) {
	names := []string{"unit-oak", "unit-elm", "unit-ash"}
	var groups []Group
	for _, n := range names {
		groups = append(groups, Group{n, "tile-sort", "mains", ""})
	}
	result, err := Compare(grid(groups, oneLevel), CompareRequest{By: "device", B: "unit-elm"})
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range result.Comparisons {
		if c.AdjustedFor != 6 {
			t.Errorf("%s: adjusted for %d settings, want 6", c.A, c.AdjustedFor)
		}
		for _, s := range c.Settings {
			half := (math.Log1p(float64(s.Upper)) - math.Log1p(float64(s.Lower))) / 2
			near(t, "critical value", half/float64(s.SE), newMaxModulus(6, float64(s.DF)).twoSided(0.95), 1e-9)
		}
	}
}

func TestCompareDefaultMetric(t *testing.T) {
	runs := oakAgainstElm()
	for i := range runs {
		runs[i].Results = map[string]run.Result{"score": runs[i].Results["score"], "alpha": {Value: 3}, "zeta": {Value: 4}}
	}
	delete(runs[0].Results, "alpha")
	if c := compareOne(t, runs, CompareRequest{By: "device"}); c.Metric != "score" {
		t.Errorf("metric %s, want score: most runs have it, first in the alphabet", c.Metric)
	}
}
