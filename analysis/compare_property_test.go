package analysis

import (
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"pgregory.net/rapid"

	"sweepd/run"
)

// someRuns draws the runs of two devices: shared and lone settings, unequal
// repeats, odd runs, both supplies, and watts in some of them.
func someRuns(t *rapid.T) []run.Run {
	rng := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 1))
	settings := rapid.IntRange(1, 12).Draw(t, "settings")
	most := rapid.IntRange(1, 4).Draw(t, "most repeats")
	cv := rapid.SampledFrom([]float64{0, 0.002, 0.01, 0.05}).Draw(t, "cv")
	apart := rapid.SampledFrom([]float64{0, 0.03, 0.3}).Draw(t, "apart")
	lower := rapid.Bool().Draw(t, "lower is better")
	var runs []run.Run
	for side, device := range []string{"unit-elm", "unit-oak"} {
		for j := range settings {
			for range rng.IntN(most + 1) {
				w := studyWatts[j]
				z := studyCurve(w) + cv*rng.NormFloat64() + apart*float64(side)*math.Sin(float64(j))
				if rng.IntN(40) == 0 {
					z -= 0.2
				}
				runs = append(runs, run.Run{
					ID: fmt.Sprintf("run-%d", len(runs)), Labels: run.Labels{Device: device, Workload: "harbour-flight", Setting: run.Watts(w).From(run.Declared), Supply: []run.Supply{run.Mains, run.Battery}[rng.IntN(8)/7]},
					StartedAt: run.Timestamp{Time: studyStart.Add(time.Duration(rng.IntN(100000)) * time.Second)}, DurationS: new(60.0),
					PackageW: pointer(w * math.Exp(0.01*rng.NormFloat64())),
					Results:  map[string]run.Result{"frames": {Value: math.Exp(z), Unit: "1/s", Better: better(lower)}},
				})
			}
		}
	}
	return runs
}

// someRequest draws how the two devices are compared.
func someRequest(t *rapid.T) CompareRequest {
	return CompareRequest{
		By: "device", A: "unit-oak", B: "unit-elm",
		At:  rapid.SampledFrom([]string{"", AtSetting, AtPackage}).Draw(t, "at"),
		Per: rapid.SampledFrom([]string{"", "", AtSetting, AtPackage}).Draw(t, "per"),
	}
}

// comparable skips draws in which nothing can be compared.
func mustCompare(t *rapid.T, runs []run.Run, req CompareRequest) CompareResult {
	result, err := Compare(runs, req)
	if err != nil {
		t.Skip(err)
	}
	return result
}

var approximately = cmp.Options{
	cmp.Comparer(func(a, b Number) bool {
		if !a.Known() || !b.Known() {
			return a.Known() == b.Known()
		}
		return math.Abs(float64(a-b)) <= 1e-9*math.Max(1, math.Max(math.Abs(float64(a)), math.Abs(float64(b))))
	}),
	cmpopts.IgnoreUnexported(Comparison{}),
}

var turned = map[Verdict]Verdict{VerdictA: VerdictB, VerdictB: VerdictA, VerdictTie: VerdictTie, VerdictUnclear: VerdictUnclear}

// inverse turns a relative difference a/b - 1 into b/a - 1.
func inverse(x Number) Number { return 1/(1+x) - 1 }

// swapped is what comparing b with a must give.
func swapped(c Comparison) Comparison {
	c.A, c.B = c.B, c.A
	c.NoiseA, c.NoiseB = c.NoiseB, c.NoiseA
	c.NoiseSourceA, c.NoiseSourceB = c.NoiseSourceB, c.NoiseSourceA
	c.Settings = slices.Clone(c.Settings)
	for i := range c.Settings {
		s := &c.Settings[i]
		s.NA, s.NB = s.NB, s.NA
		s.MeanA, s.MeanB = s.MeanB, s.MeanA
		s.PackageWA, s.PackageWB = s.PackageWB, s.PackageWA
		s.Diff, s.Lower, s.Upper = inverse(s.Diff), inverse(s.Upper), inverse(s.Lower)
		s.Verdict = turned[s.Verdict]
	}
	c.Bands, c.BandsFollowed = turnedBands(c.Bands), turnedBands(c.BandsFollowed)
	c.Overall, c.OverallFollowed = turnedOverall(c.Overall), turnedOverall(c.OverallFollowed)
	return c
}

func turnedBands(list []Band) []Band {
	list = slices.Clone(list)
	for i := range list {
		b := &list[i]
		b.Verdict = turned[b.Verdict]
		b.Diff, b.Lower, b.Upper = inverse(b.Diff), inverse(b.Upper), inverse(b.Lower)
	}
	return list
}

func turnedOverall(o *Overall) *Overall {
	if o == nil {
		return nil
	}
	return &Overall{inverse(o.Diff), inverse(o.Upper), inverse(o.Lower), o.SE, o.DF, turned[o.Verdict]}
}

func TestCompareSwapSides(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		runs, req := someRuns(t), someRequest(t)
		there := mustCompare(t, runs, req)
		req.A, req.B = req.B, req.A
		back := mustCompare(t, runs, req)
		if len(there.Comparisons) != len(back.Comparisons) {
			t.Fatalf("%d comparisons one way, %d the other", len(there.Comparisons), len(back.Comparisons))
		}
		for i := range there.Comparisons {
			ignore := cmpopts.IgnoreFields(Comparison{}, "Flagged", "Confounders", "Notes") // in order of the sides
			if diff := cmp.Diff(swapped(there.Comparisons[i]), back.Comparisons[i], approximately, ignore); diff != "" {
				t.Fatal(diff)
			}
		}
	})
}

func TestCompareScale(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		runs, req := someRuns(t), someRequest(t)
		factor := math.Exp2(float64(rapid.IntRange(-20, 20).Draw(t, "scale")))
		before := mustCompare(t, runs, req)
		scaled := slices.Clone(runs)
		for i := range scaled {
			r := scaled[i].Results["frames"]
			r.Value *= factor
			scaled[i].Results = map[string]run.Result{"frames": r}
		}
		after := mustCompare(t, scaled, req)
		means := cmpopts.IgnoreFields(SettingComparison{}, "MeanA", "MeanB")
		if diff := cmp.Diff(before, after, approximately, means); diff != "" {
			t.Fatal(diff)
		}
	})
}

func TestCompareRowOrder(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		runs, req := someRuns(t), someRequest(t)
		before := mustCompare(t, runs, req)
		mixed := slices.Clone(runs)
		rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "order"), 2)).Shuffle(len(mixed), func(i, j int) { mixed[i], mixed[j] = mixed[j], mixed[i] })
		after := mustCompare(t, mixed, req)
		if a, b := jsonOf(t, before), jsonOf(t, after); a != b {
			t.Fatalf("the order of the runs matters:\n%s\n%s", a, b)
		}
		sameNotes(t, before, after)
	})
}

func TestCompareLeavesInputs(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		runs, req := someRuns(t), someRequest(t)
		kept := deepCopy(runs)
		mustCompare(t, runs, req)
		if !reflect.DeepEqual(runs, kept) {
			t.Fatal("Compare changed its input")
		}
	})
}

func deepCopy(runs []run.Run) []run.Run {
	out := slices.Clone(runs)
	for i := range out {
		r := &out[i]
		for _, p := range []**float64{&r.DurationS, &r.PackageW, &r.SystemW, &r.StartCelsius, &r.StartCharge} {
			if *p != nil {
				*p = pointer(**p)
			}
		}
		results := make(map[string]run.Result)
		for name, v := range r.Results {
			results[name] = v
		}
		r.Results = results
	}
	return out
}

// What the numbers promise, for any input: bounds around the estimate, verdicts
// that agree with the bounds, bands that cover the shared settings, and JSON
// without a number that is none.
func TestCompareConsistent(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		runs, req := someRuns(t), someRequest(t)
		hurt(t, runs)
		result := mustCompare(t, runs, req)
		text := jsonOf(t, result)
		if strings.Contains(text, "NaN") || strings.Contains(text, "Inf") {
			t.Fatal(text)
		}
		for _, c := range result.Comparisons {
			consistent(t, c)
		}
	})
}

func consistent(t *rapid.T, c Comparison) {
	shared := 0
	for _, s := range c.Settings {
		if s.NA > 0 && s.NB > 0 {
			shared++
		}
		if s.Lower.Known() && !(s.Lower <= s.Diff && s.Diff <= s.Upper) {
			t.Fatalf("bounds %g to %g around %g", s.Lower, s.Upper, s.Diff)
		}
		ahead, behind := s.Lower > 0, s.Upper < 0
		if c.Better == "lower" {
			ahead, behind = behind, ahead
		}
		switch s.Verdict {
		case VerdictA:
			if !ahead {
				t.Fatalf("a with %+v", s)
			}
		case VerdictB:
			if !behind {
				t.Fatalf("b with %+v", s)
			}
		case VerdictTie:
			if !(float64(s.Upper) < c.Margin) || !(float64(s.Lower) > 1/(1+c.Margin)-1) {
				t.Fatalf("tie with %+v", s)
			}
		}
		if s.PAdjusted.Known() && !(s.PAdjusted >= 0 && s.PAdjusted <= 1) {
			t.Fatalf("p = %g", s.PAdjusted)
		}
		if s.MoreRuns != nil && (*s.MoreRuns == 0) != (s.Verdict != VerdictUnclear) {
			t.Fatalf("more runs %d with verdict %s", *s.MoreRuns, s.Verdict)
		}
	}
	if (shared == 0) != (c.Overall == nil) || (shared == 0) != (len(c.Bands) == 0) {
		t.Fatalf("%d shared settings, overall %v, bands %v", shared, c.Overall, c.Bands)
	}
	for _, x := range c.Crossings {
		if !(x.LowerW <= x.AtW && x.AtW <= x.UpperW) {
			t.Fatalf("crossing %+v", x)
		}
	}
}

// hurt spoils some runs: values that are no numbers or have no logarithm,
// extremes, settings without watts, no times.
func hurt(t *rapid.T, runs []run.Run) {
	rng := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "harm"), 3))
	values := []float64{0, -1, math.NaN(), math.Inf(1), math.Inf(-1), 1e308, 5e-324}
	value := func() float64 { return values[rng.IntN(len(values))] }
	for i := range runs {
		switch rng.IntN(25) {
		case 0:
			runs[i].Results = map[string]run.Result{"frames": {Value: value()}}
		case 1:
			runs[i].Setting = atWatts(value())
		case 2:
			runs[i].Setting = named([]string{"quiet", "performance", ""}[rng.IntN(3)])
		case 3:
			runs[i].PackageW = pointer(value())
		case 4:
			runs[i].StartedAt = run.Timestamp{}
		case 5:
			runs[i].Results = nil
		}
	}
}

func jsonOf(t rapid.TB, v any) string {
	text, err := json.Marshal(v)
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}
