package analysis

import (
	"math"
	"slices"
	"testing"

	"sweepd/run"
)

// drawing gives every run of a side package watts.
func drawing(runs []run.Run, watts func(set float64) float64) []run.Run {
	for i := range runs {
		p := watts(setWatts(&runs[i]))
		runs[i].PackageW = &p
	}
	return runs
}

// Set 6 8 10 12 15 20 30 45 60, package 10.8 10.9 10.85 11.9 14.8 19.7 29.5 40.1 40.3, three
// runs each: the device follows 12 to 30 W (base R 4.2.2, methods section 12, item 10).
var (
	followedSet   = []float64{6, 8, 10, 12, 15, 20, 30, 45, 60}
	followedDrawn = map[float64]float64{6: 10.8, 8: 10.9, 10: 10.85, 12: 11.9, 15: 14.8, 20: 19.7, 30: 29.5, 45: 40.1, 60: 40.3}
)

// threeOf are three repeats of each mean, apart by 0.4 %.
func threeOf(means []float64) [][]float64 {
	list := make([][]float64, len(means))
	for j, m := range means {
		list[j] = []float64{0.996 * m, m, 1.004 * m}
	}
	return list
}

// A device that ignores what is set below 12 W and above 30 W is ahead there because it
// draws more or less: the mean and the bands that are headlined leave those settings out,
// and the difference there stands beside its watts.
func TestSettingsThatASideDoesNotKeep(t *testing.T) {
	level := []float64{30, 38, 45, 52, 60, 70, 80, 88, 92}
	capped := []float64{46, 46.5, 46, 52.1, 60.1, 69.9, 80.2, 84, 84.1}
	runs := append(drawing(sameSettings("unit-oak", followedSet, threeOf(capped)), func(w float64) float64 { return followedDrawn[w] }),
		drawing(sameSettings("unit-elm", followedSet, threeOf(level)), obeys)...)
	c := compareOne(t, runs, CompareRequest{By: "device", A: "unit-oak", B: "unit-elm"})
	for i, s := range c.Settings {
		keeps := s.SettingW >= 12 && s.SettingW <= 30
		if s.Followed == nil || *s.Followed != keeps {
			t.Errorf("%g W: followed %v, want %v", s.SettingW, s.Followed, keeps)
		}
		near(t, "package watts of a", float64(s.PackageWA), followedDrawn[followedSet[i]], 1e-12)
		near(t, "package watts of b", float64(s.PackageWB), followedSet[i], 1e-12)
	}
	// The verdicts themselves stay, and so do the bands of all settings.
	if c.AdjustedFor != 9 || len(c.Bands) != 3 || c.Bands[0].Verdict != VerdictA || c.Bands[2].Verdict != VerdictB || len(c.Crossings) != 1 {
		t.Errorf("adjusted for %d, bands %+v, crossings %+v", c.AdjustedFor, c.Bands, c.Crossings)
	}
	if want := (Band{FromW: 12, ToW: 30, Verdict: VerdictTie}); len(c.BandsFollowed) != 1 || stretchOf(c.BandsFollowed[0]) != want {
		t.Errorf("bands that both follow %+v, want %+v", c.BandsFollowed, want)
	}
	if len(c.CrossingsFollowed) != 0 {
		t.Errorf("a crossing across settings that were not kept: %+v", c.CrossingsFollowed)
	}
	// The mean over 12 to 30 W: mean of ln 52.1/52, 60.1/60, 69.9/70, 80.2/80.
	want := (math.Log(52.1/52) + math.Log(60.1/60) + math.Log(69.9/70) + math.Log(80.2/80)) / 4
	if o := c.OverallFollowed; o == nil || o.Verdict != VerdictTie || math.Abs(math.Log1p(float64(o.Diff))-want) > 1e-9 {
		t.Errorf("mean over what both follow %+v, want %.6f", o, want)
	}
	// What it drew where it did not keep to the setting is said.
	at := slices.IndexFunc(c.Notes, func(n Note) bool { return n.Code == NoteSettingsDisobeyed })
	if at < 0 || c.Notes[at].Side != "unit-oak" || len(c.Notes[at].At) != 5 {
		t.Fatalf("notes %+v, want the five settings that unit-oak did not keep", c.Notes)
	}
	for _, d := range c.Notes[at].At {
		near(t, "drew", float64(d.DrewW), followedDrawn[float64(d.SettingW)], 1e-12)
	}
	// Four settings of nine: the standard error is sqrt(9/4) times that of all.
	near(t, "standard error", float64(c.OverallFollowed.SE), float64(c.Overall.SE)*3/2, 1e-9)
}

// Without package watts nothing speaks against a setting: it counts, and it is said that
// nobody knows. A device that keeps nothing has no mean to headline.
func TestFollowedWithoutWatts(t *testing.T) {
	c := compareOne(t, oakAgainstElm(), CompareRequest{By: "device", A: "unit-oak", B: "unit-elm"})
	for _, s := range c.Settings {
		if s.Followed != nil || s.PackageWA.Known() || s.PackageWB.Known() {
			t.Errorf("%g W: %+v", s.SettingW, s)
		}
	}
	if !slices.Equal(c.Bands, c.BandsFollowed) || !slices.Equal(c.Crossings, c.CrossingsFollowed) || *c.Overall != *c.OverallFollowed {
		t.Errorf("followed: %+v %+v %+v, want those of all settings", c.BandsFollowed, c.CrossingsFollowed, c.OverallFollowed)
	}
	// One side measured its package: what that does not keep is known, the rest is not.
	runs := append(drawing(sameSettings("unit-oak", followedSet, threeOf(followedSet)), func(w float64) float64 { return followedDrawn[w] }),
		sameSettings("unit-elm", followedSet, threeOf(followedSet))...)
	c = compareOne(t, runs, CompareRequest{By: "device", A: "unit-oak", B: "unit-elm"})
	for _, s := range c.Settings {
		outside := s.SettingW < 12 || s.SettingW > 30
		if outside != (s.Followed != nil && !*s.Followed) || !outside && s.Followed != nil {
			t.Errorf("%g W: followed %v", s.SettingW, s.Followed)
		}
	}
	// The sides keep different settings: none is left.
	low := drawing(sameSettings("unit-oak", followedSet, threeOf(followedSet)), func(w float64) float64 { return min(w, 13) })
	high := drawing(sameSettings("unit-elm", followedSet, threeOf(followedSet)), func(w float64) float64 { return max(w, 17) })
	c = compareOne(t, append(low, high...), CompareRequest{By: "device", A: "unit-oak", B: "unit-elm"})
	if c.OverallFollowed != nil || c.Overall == nil || len(c.BandsFollowed) != 0 {
		t.Errorf("nothing is kept by both: %+v, %+v", c.OverallFollowed, c.BandsFollowed)
	}
	// At equal measured watts every point is what it says.
	aligned := compareOne(t, append(drawing(sameSettings("unit-oak", followedSet, threeOf(followedSet)), func(w float64) float64 { return min(w, 41) }),
		drawing(sameSettings("unit-elm", followedSet, threeOf(followedSet)), obeys)...), CompareRequest{By: "device", At: AtPackage})
	if !slices.Equal(aligned.Bands, aligned.BandsFollowed) || *aligned.Overall != *aligned.OverallFollowed || aligned.Settings[0].Followed != nil {
		t.Errorf("at equal package watts: %+v", aligned)
	}
}

// Over several workloads, and for money, only the settings count that both sides keep to:
// the mean of ln 1.0019, 1.0017, 0.9986, 1.0025 and that of a second workload without a
// difference, 1 at every setting.
func TestSettingsThatASideDoesNotKeepLeaveTheSums(t *testing.T) {
	level := []float64{30, 38, 45, 52, 60, 70, 80, 88, 92}
	capped := []float64{46, 46.5, 46, 52.1, 60.1, 69.9, 80.2, 84, 84.1}
	var runs []run.Run
	for workload, ofA := range map[string][]float64{"harbour-flight": capped, "tile-sort": {46, 46, 46, 52, 60, 70, 80, 84, 84}} {
		both := append(drawing(sameSettings("unit-oak", followedSet, threeOf(ofA)), func(w float64) float64 { return followedDrawn[w] }),
			drawing(sameSettings("unit-elm", followedSet, threeOf(level)), obeys)...)
		for i := range both {
			both[i].Workload = workload
		}
		runs = append(runs, both...)
	}
	r, err := Compare(runs, CompareRequest{By: "device", A: "unit-oak", B: "unit-elm"})
	if err != nil || r.Across == nil {
		t.Fatalf("%+v, %v", r, err)
	}
	mean := (math.Log(52.1/52) + math.Log(60.1/60) + math.Log(69.9/70) + math.Log(80.2/80)) / 4
	near(t, "across", math.Log1p(float64(r.Across.Diff)), mean/2, 1e-9)
	value, err := Value(r, Prices{"EUR", map[string]float64{"unit-oak": 500, "unit-elm": 600}})
	if err != nil || len(value.Values) != 2 {
		t.Fatalf("%+v, %v", value, err)
	}
	v := value.Values[0]
	if !v.Part || v.A != "unit-oak" || v.Dearer != "unit-elm" {
		t.Errorf("part %v, a %s, dearer %s", v.Part, v.A, v.Dearer)
	}
	near(t, "a/b", math.Log1p(float64(v.Overall.Diff)), mean, 1e-9)
	near(t, "b/a", math.Log1p(float64(v.Overall.Gain)), -mean, 1e-9)
	near(t, "a/b for each 100 of the price", float64(v.Overall.DiffPer100), -100*math.Expm1(mean), 1e-9)
	near(t, "a for its price", float64(v.Overall.ForPrice), math.Exp(mean)*1.2-1, 1e-9)
	for _, s := range v.NotSignificant {
		if s.FromW < 12 || s.ToW > 30 {
			t.Errorf("not told from %g to %g W, where a side does not keep to the setting", s.FromW, s.ToW)
		}
	}
	if v.Overall.DiffPer100Lower > v.Overall.DiffPer100Upper || v.Overall.ForPriceLower > v.Overall.ForPriceUpper {
		t.Errorf("bounds the wrong way round: %+v", v.Overall)
	}
}
