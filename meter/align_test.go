package meter

import (
	"math"
	"math/rand/v2"
	"testing"
)

// load is a power that rises after a while, moves, and falls again: W at a moment of the run.
func load(r *rand.Rand) func(t float64) float64 {
	levels := make([]float64, 400)
	for i := range levels {
		levels[i] = 18 + 4*r.NormFloat64()
	}
	return func(t float64) float64 {
		switch {
		case t < 3 || t > 57:
			return 2
		}
		return levels[int(t/2)%len(levels)]
	}
}

// made is what a run of 60 s measures of its package four times a second, and the log of a
// meter of the whole device beside it whose clock is behind by offset, from a minute before
// the run on.
func made(seed uint64, offset, every, noise float64) (own, log Curve) {
	r := rand.New(rand.NewPCG(seed, 1))
	p := load(r)
	joules, sum := []float64{}, 0.0
	var at []float64
	for t := 0.0; t <= 60.0001; t += 0.25 {
		at, joules = append(at, t), append(joules, sum)
		for k := range 25 {
			sum += 0.01 * p(t+float64(k)*0.01)
		}
	}
	var times, watts []float64
	whole := func(t float64) float64 { return 4.6 + 1.15*p(t) }
	for t := -60.0; t < 100; t += every {
		if r.Float64() < 0.02 { // a row that is missing
			continue
		}
		times, watts = append(times, t-offset), append(watts, whole(t)+noise*r.NormFloat64())
	}
	return FromEnergy(at, joules), FromPower(times, watts)
}

// The offset is known from how the log was made.
func TestAlignFindsTheOffset(t *testing.T) {
	for _, every := range []float64{0.1, 0.5, 1} {
		for seed := range uint64(10) {
			want := -20 + 7.3*float64(seed)
			own, log := made(seed, want, every, 0.5)
			a, ok := Align(log, own, math.Inf(-1), math.Inf(1))
			// A value that is read twice a second is known to half of that.
			if !ok || !a.Clear || math.Abs(a.Offset-want) > max(0.1, every/2) {
				t.Errorf("every %v s, seed %d: %+v, want %v", every, seed, a, want)
			}
		}
	}
}

// A log of another run, of nothing but noise, or of a load that never changes has no clear
// place.
func TestAlignIsNotSureOfWhatIsNotThere(t *testing.T) {
	for seed := range uint64(20) {
		own, _ := made(seed, 0, 1, 0.5)
		r := rand.New(rand.NewPCG(seed, 9))
		var at, noise, steady []float64
		for i := range 2000 {
			at = append(at, float64(i)*0.5)
			noise = append(noise, 15+5*r.NormFloat64())
			steady = append(steady, 15)
		}
		for name, watts := range map[string][]float64{"noise": noise, "steady": steady} {
			if a, ok := Align(FromPower(at, watts), own, math.Inf(-1), math.Inf(1)); ok && a.Clear {
				t.Errorf("%s, seed %d: %+v", name, seed, a)
			}
		}
		var repeated []float64 // every 20 s the same
		for _, x := range at {
			repeated = append(repeated, 10+5*math.Sin(2*math.Pi*x/20))
		}
		var sweeps, same []float64
		for x := 0.0; x <= 60; x += 0.25 {
			sweeps, same = append(sweeps, x), append(same, 10+5*math.Sin(2*math.Pi*x/20))
		}
		if a, ok := Align(FromPower(at, repeated), FromPower(sweeps, same), math.Inf(-1), math.Inf(1)); ok && a.Clear {
			t.Errorf("a load that repeats itself: %+v", a)
		}
	}
}

// The energy of the values over the sweeps is that of the log: the trapezoid rule gives
// each the width that its mean was taken over.
func TestOverKeepsTheEnergy(t *testing.T) {
	_, log := made(3, 5, 0.1, 1)
	var at []float64
	for x := 0.0; x <= 60; x += 0.25 + 0.1*math.Abs(math.Sin(x)) {
		at = append(at, x)
	}
	watts, covered := log.Over(at, 5)
	sum := 0.0
	for i := 1; i < len(at); i++ {
		sum += (at[i] - at[i-1]) * (watts[i] + watts[i-1]) / 2
	}
	// The windows at both ends are half as wide as the rule takes them for.
	want := log.until(at[len(at)-1]-5) - log.until(at[0]-5)
	if covered != 1 || math.Abs(sum/want-1) > 0.005 {
		t.Errorf("covered %v, %v J of %v", covered, sum, want)
	}
	if watts, covered := log.Over(at, 200); covered != 0 || !math.IsNaN(watts[0]) {
		t.Errorf("beside the log: covered %v, %v", covered, watts[0])
	}
	holes := FromPower([]float64{0, 1, 2, 3, 30, 31, 32}, []float64{5, 5, 5, 5, 5, 5, 5})
	if watts, covered := holes.Over([]float64{0, 2, 15, 31, 32}, 0); !math.IsNaN(watts[2]) || watts[4] != 5 || covered > 0.5 {
		t.Errorf("over a hole: %v, covered %v", watts, covered)
	}
}

// Anscombe, Graphs in Statistical Analysis, The American Statistician 27 (1973) 17-21: the
// first of his four data sets has a correlation of 0.816, as published (the values are from
// memory; his summary of them, means 9 and 7.5 and the line 3 + 0.5 x, is checked, too).
func TestCorrelationOfAnscombe(t *testing.T) {
	x := []float64{10, 8, 13, 9, 11, 14, 6, 4, 12, 7, 5}
	y := []float64{8.04, 6.95, 7.58, 8.81, 8.33, 9.96, 7.24, 4.26, 10.84, 4.82, 5.68}
	var mx, my, xx, xy float64
	for i := range x {
		mx, my = mx+x[i]/11, my+y[i]/11
	}
	for i := range x {
		xx, xy = xx+(x[i]-mx)*(x[i]-mx), xy+(x[i]-mx)*(y[i]-my)
	}
	if slope := xy / xx; math.Abs(mx-9) > 1e-9 || math.Abs(my-7.5) > 0.005 || math.Abs(slope-0.5) > 0.0005 || math.Abs(my-slope*mx-3) > 0.005 {
		t.Fatalf("these are not his values: means %v and %v, slope %v", mx, my, slope)
	}
	if r := correlation(x, y); math.Abs(r-0.816) > 0.0005 {
		t.Errorf("correlation %v, published 0.816", r)
	}
}
