package analysis

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"sweepd/run"
)

// truth is what is true of two simulated devices in one workload, both with three runs at
// studyWatts: each rises to its own height at its own pace, half have a floor, half a cap,
// half a dip at one setting that the device follows.
type truth struct {
	workload string
	devices  [2]trueDevice
}

type trueDevice struct {
	height, pace    float64 // result height (1 - exp(-(P - 2)/pace)) at P watts
	floor, cap      float64 // W; 0 and +Inf for none
	dipAt, dipShare float64 // 0 for none
}

var trueNames = [2]string{"unit-oak", "unit-elm"}

const (
	factRuns = 3
	factCV   = 0.01
)

func drawTruth(rng *rand.Rand, workload string) truth {
	x := truth{workload: workload}
	for i := range x.devices {
		d := trueDevice{height: 100 * math.Exp(0.1*(rng.Float64()-0.5)), pace: 9 + 5*rng.Float64(), cap: math.Inf(1)}
		if rng.Float64() < 0.5 {
			d.floor = 7 + 6*rng.Float64()
		}
		if rng.Float64() < 0.5 {
			d.cap = 38 + 40*rng.Float64()
		}
		if rng.Float64() < 0.5 {
			inside := slices.DeleteFunc(slices.Clone(studyWatts), func(w float64) bool { return w <= d.floor || w >= d.cap })
			d.dipAt, d.dipShare = inside[2+rng.IntN(len(inside)-3)], 0.02+0.06*rng.Float64()
		}
		x.devices[i] = d
	}
	return x
}

func (d trueDevice) power(w float64) float64 { return min(max(w, d.floor), d.cap) }

// z is the true ln result.
func (d trueDevice) z(w float64) float64 {
	z := math.Log(d.height * (1 - math.Exp(-(d.power(w)-2)/d.pace)))
	if w == d.dipAt {
		z += math.Log1p(-d.dipShare)
	}
	return z
}

func (d trueDevice) keeps(w float64) bool { return w >= d.floor && w <= d.cap }

// runs are those of a test day, pass after pass.
func (x truth) runs(rng *rand.Rand, before int) []run.Run {
	var runs []run.Run
	for range factRuns {
		for _, place := range rng.Perm(2 * len(studyWatts)) {
			d, w := x.devices[place%2], studyWatts[place/2]
			at := before + len(runs)
			runs = append(runs, run.Run{
				ID: fmt.Sprint(at), StartedAt: run.Timestamp{Time: studyStart.Add(time.Duration(at) * time.Minute)}, DurationS: new(60.0),
				Labels:   run.Labels{Device: trueNames[place%2], Workload: x.workload, Setting: run.Watts(w).From(run.Declared), Supply: "mains"},
				PackageW: pointer(d.power(w) * math.Exp(factCV*rng.NormFloat64())),
				Results:  map[string]run.Result{"score": {Value: math.Exp(d.z(w) + factCV*rng.NormFloat64())}},
			})
		}
	}
	return runs
}

// sizeBins are the sizes in standard errors at which the share of facts that are said is
// listed, beside that of those which exceed the critical value by 1.645.
var sizeBins = []float64{3, 4, 5, 6}

const clearly = 1.645

// facts count how many of one kind are said, by their true size in standard errors.
type facts struct {
	said, clearSaid   float64
	all, clear        float64
	binned, binnedAll [4]float64 // from each size of sizeBins to the next, one wide
}

func (f *facts) add(size, critical float64, said bool) {
	f.all++
	f.said += share(said)
	if size >= critical+clearly {
		f.clear++
		f.clearSaid += share(said)
	}
	for i, from := range sizeBins {
		if math.Abs(size-from) < 0.5 {
			f.binnedAll[i]++
			f.binned[i] += share(said)
		}
	}
}

func (f *facts) String() string {
	text := fmt.Sprintf("%.0f of %.0f said; clear %.0f of %.0f (%.3f);", f.said, f.all, f.clearSaid, f.clear, f.clearSaid/f.clear)
	for i, from := range sizeBins {
		text += fmt.Sprintf(" %g se %.2f", from, f.binned[i]/f.binnedAll[i])
	}
	return text
}

// TestStudyFacts simulates test days of two devices in two workloads and counts which of the
// true leads, crossings, dips, floors and caps the claims say, and on how many days they say
// what is not so. The goal is 95 % of those whose true size exceeds the critical value that
// was used by 1.645 standard errors; floors and caps have no size, and the published shares
// (TestStudyEffectiveRange) are those where neighbouring settings are far enough.
func TestStudyFacts(t *testing.T) {
	t.Parallel()
	days := 30
	if *studyFull {
		days = min(200, *studyCampaigns)
	}
	rng := studyRandom(0, 600)
	var lead, crossing, dip, keeping facts
	wrong, wrongRange := 0.0, 0.0
	for range days {
		var runs []run.Run
		var day []truth
		for _, w := range []string{"harbour-flight", "tile-sort"} {
			x := drawTruth(rng, w)
			day = append(day, x)
			runs = append(runs, x.runs(rng, len(runs))...)
		}
		list := claimsOf(t, runs)
		var falseClaim, falseRange bool
		tests := 0
		for _, x := range day {
			for _, d := range x.devices {
				tests += len(d.trendSizes())
			}
		}
		for _, x := range day {
			of := slices.DeleteFunc(slices.Clone(list), func(k Claim) bool { return k.Workload != x.workload })
			x.countLeads(of, &lead, &crossing)
			for i, d := range x.devices {
				own := slices.DeleteFunc(slices.Clone(of), func(k Claim) bool { return k.Factor != "" || *k.Device != trueNames[i] })
				d.countDips(own, tests, &dip)
				d.countKeeping(own, &keeping)
				falseClaim = falseClaim || d.contradicts(own)
				falseRange = falseRange || d.contradictsRange(own)
			}
			falseClaim = falseClaim || x.contradicts(of)
		}
		wrong, wrongRange = wrong+share(falseClaim), wrongRange+share(falseRange)
	}
	b := float64(days)
	if *studyFull {
		fmt.Printf("%d test days, n %d, CV 1 %%: %.3f claim what is not so, %.3f a floor or cap elsewhere than it is\n  lead at a setting: %v\n  crossing: %v\n  dip: %v\n  floors and caps: %.0f of %.0f\n",
			days, factRuns, wrong/b, wrongRange/b, &lead, &crossing, &dip, keeping.said, keeping.all)
	}
	atMost(t, "days that claim what is not so", factRuns, wrong/b, 2*claimError+proportionTolerance(2*claimError, days))
	for name, f := range map[string]facts{"leads": lead, "crossings": crossing, "dips": dip} {
		if f.clear == 0 || f.clearSaid/f.clear < 0.95-proportionTolerance(0.95, int(f.clear)) {
			t.Errorf("%s: %v", name, &f)
		}
	}
}

// shared are the settings that both devices follow.
func (x truth) shared() []float64 {
	return slices.DeleteFunc(slices.Clone(studyWatts), func(w float64) bool { return !x.devices[0].keeps(w) || !x.devices[1].keeps(w) })
}

func (x truth) difference(w float64) float64 { return x.devices[0].z(w) - x.devices[1].z(w) }

// factError is the standard error of the difference of two means.
var factError = factCV * math.Sqrt(2.0/factRuns)

// leadCritical is the critical value of a page of two comparisons of 20 settings each, with
// the degrees of freedom of three repeats.
func leadCritical() float64 {
	m := len(studyWatts)
	return newMaxModulus(m, float64(4*m)).twoSided(Budget{2 * (m + 1)}.settings(m))
}

func (x truth) countLeads(list []Claim, lead, crossing *facts) {
	bands := ofKind(list, ClaimBand)
	critical := leadCritical()
	shared := x.shared()
	sizes := make([]float64, len(shared))
	for i, w := range shared {
		d := x.difference(w)
		sizes[i] = d / factError
		want := VerdictA
		if d < 0 {
			want = VerdictB
		}
		lead.add(math.Abs(sizes[i]), critical, slices.ContainsFunc(bands, func(k Claim) bool {
			return k.Verdict == want && float64(k.FromW) <= w && w <= float64(k.ToW)
		}))
	}
	// A crossing is as large as the smaller of the largest leads on its two sides, up to the
	// next crossing.
	for i := 1; i < len(sizes); i++ {
		if (sizes[i-1] > 0) == (sizes[i] > 0) {
			continue
		}
		left, right := 0.0, 0.0
		for j := i - 1; j >= 0 && (sizes[j] > 0) == (sizes[i-1] > 0); j-- {
			left = max(left, math.Abs(sizes[j]))
		}
		for j := i; j < len(sizes) && (sizes[j] > 0) == (sizes[i] > 0); j++ {
			right = max(right, math.Abs(sizes[j]))
		}
		crossing.add(min(left, right), critical, slices.ContainsFunc(ofKind(list, ClaimCrossing), func(k Claim) bool {
			return float64(k.FromW) <= shared[i] && float64(k.ToW) >= shared[i-1]
		}))
	}
}

// contradicts tells whether a claim on leads is not so.
func (x truth) contradicts(list []Claim) bool {
	sum, n := 0.0, 0.0
	for _, w := range x.shared() {
		sum, n = sum+x.difference(w), n+1
	}
	for _, k := range list {
		switch {
		case k.Kind == ClaimOverall && (k.Verdict == VerdictA && sum < 0 || k.Verdict == VerdictB && sum > 0 || k.Verdict == VerdictTie && math.Abs(sum/n) > math.Log(1.02)):
			return true
		case k.Kind == ClaimBand:
			for _, w := range studyWatts {
				d := x.difference(w)
				if w >= float64(k.FromW) && w <= float64(k.ToW) && (k.Verdict == VerdictA && d < 0 || k.Verdict == VerdictB && d > 0 || k.Verdict == VerdictTie && math.Abs(d) > math.Log(1.02)) {
					return true
				}
			}
		}
	}
	return false
}

// trendSizes are the tests of departures on the true curve, each in standard errors: by
// setting the largest. The number of tests is about that of the measured curve.
func (d trueDevice) trendSizes() []trendTest {
	points := make([]trendPoint, len(studyWatts))
	for i, w := range studyWatts {
		points[i] = trendPoint{math.Log(w), d.z(w), factRuns}
	}
	active := allIndices(len(points))
	level := func(int, int) (float64, float64) { return factCV * factCV, float64(2 * len(points)) }
	var tests []trendTest
	for pos := 1; pos < len(active); pos++ {
		x := trend{points, active, pos, level}
		tests = append(tests, append(x.chords(), x.drop())...)
	}
	return tests
}

func (d trueDevice) countDips(list []Claim, tests int, dip *facts) {
	if d.dipAt == 0 {
		return
	}
	size := 0.0
	for _, x := range d.trendSizes() {
		if studyWatts[x.index] == d.dipAt {
			size = max(size, x.below/math.Sqrt(x.v))
		}
	}
	critical := studentQuantile(1-departureLevel/float64(tests), float64(2*len(studyWatts)))
	dip.add(size, critical, d.saysDip(list))
}

func (d trueDevice) saysDip(list []Claim) bool {
	return slices.ContainsFunc(list, func(k Claim) bool { return k.Kind == ClaimDip && float64(k.AtW) == d.dipAt })
}

// contradicts tells whether a dip or fall is claimed that there is not.
func (d trueDevice) contradicts(list []Claim) bool {
	return slices.ContainsFunc(list, func(k Claim) bool {
		return k.Kind == ClaimFall || k.Kind == ClaimDip && float64(k.AtW) != d.dipAt
	})
}

// countKeeping counts floors and caps that are said of the settings that they are of.
func (d trueDevice) countKeeping(list []Claim, keeping *facts) {
	if d.floor > studyWatts[0] {
		keeping.add(0, 0, slices.ContainsFunc(list, func(k Claim) bool { return k.Kind == ClaimFloor && d.hasRange(k) }))
	}
	if !math.IsInf(d.cap, 1) {
		keeping.add(0, 0, slices.ContainsFunc(list, func(k Claim) bool { return k.Kind == ClaimCap && d.hasRange(k) }))
	}
}

// hasRange tells whether a floor or cap is of the settings that are not kept, or of one
// more or less, where a setting is within 3 % of it.
func (d trueDevice) hasRange(k Claim) bool {
	for _, w := range studyWatts {
		ignored := w >= float64(k.FromW) && w <= float64(k.ToW)
		if k.Kind == ClaimFloor && ignored != (w < d.floor) && math.Abs(w/d.floor-1) > rangeTolerance ||
			k.Kind == ClaimCap && ignored != (w > d.cap) && math.Abs(w/d.cap-1) > rangeTolerance {
			return false
		}
	}
	return true
}

// contradictsRange tells whether a floor or cap is claimed where there is none, or at other
// settings.
func (d trueDevice) contradictsRange(list []Claim) bool {
	return slices.ContainsFunc(list, func(k Claim) bool {
		return (k.Kind == ClaimFloor || k.Kind == ClaimCap) && !d.hasRange(k)
	})
}
