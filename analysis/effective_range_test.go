package analysis

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// Base R 4.2.2, to ten digits.
func TestEffectiveRangeNumbers(t *testing.T) {
	set := []float64{6, 8, 10, 12, 15, 20, 30, 45, 60}
	power := []float64{10.8, 10.9, 10.85, 11.9, 14.8, 19.7, 29.5, 40.1, 40.3}
	got := effectiveRange(set, power, slices.Repeat([]float64{3}, len(set)))
	within(t, "from", set[got.from], 12, 0)
	within(t, "to", set[got.to], 30, 0)
	within(t, "lo", got.lo, 10.99659861, 5e-9)
	within(t, "hi", got.hi, 40.74332034, 5e-9)
	within(t, "scale", got.scale, 0.986661747, 5e-10)
}

func TestEffectiveRangeFull(t *testing.T) {
	for name, c := range map[string]struct{ set, power []float64 }{
		"no setting":   {nil, nil},
		"two settings": {[]float64{10, 20}, []float64{15, 15}},
		"obedient":     {[]float64{10, 15, 20, 30}, []float64{10.2, 15.3, 20.4, 30.6}},
		// Equal power everywhere: no fit with a floor or cap lies between its settings.
		"deaf": {[]float64{10, 15, 20, 30}, []float64{18, 18, 18, 18}},
	} {
		got := effectiveRange(c.set, c.power, ones(len(c.set)))
		if got.from != 0 || got.to != len(c.set)-1 || !math.IsNaN(got.lo) || !math.IsNaN(got.hi) {
			t.Errorf("%s: %+v, want the full range", name, got)
		}
	}
}

// A sensor that reads a constant share too low must not change the range.
func TestEffectiveRangeIgnoresScale(t *testing.T) {
	set := []float64{6, 8, 10, 12, 15, 20, 25, 30, 45, 60, 85}
	rapid.Check(t, func(t *rapid.T) {
		// Away from the borders of the rules, where rounding decides.
		lo := rapid.SampledFrom([]float64{5, 6.8, 9, 11, 13.2, 17}).Draw(t, "lo")
		hi := rapid.SampledFrom([]float64{27, 37, 52, 71, 90}).Draw(t, "hi")
		scale := rapid.Float64Range(0.1, 10).Draw(t, "scale")
		power, scaled := make([]float64, len(set)), make([]float64, len(set))
		for i, s := range set {
			power[i] = math.Min(math.Max(s, lo), hi)
			scaled[i] = power[i] * scale
		}
		a, b := effectiveRange(set, power, ones(len(set))), effectiveRange(set, scaled, ones(len(set)))
		if a.from != b.from || a.to != b.to {
			t.Fatalf("%d..%d became %d..%d", a.from, a.to, b.from, b.to)
		}
		if math.Abs(b.scale/a.scale/scale-1) > 1e-9 {
			t.Fatalf("scale %g became %g, not times %g", a.scale, b.scale, scale)
		}
	})
}

// rangeByDefinition follows the text of the methods (section 6) word by word,
// with sums taken anew for every fit. Set watts and fits count from 1 there.
func rangeByDefinition(set, power, n []float64) (from, to int) {
	m := len(set)
	s := func(i int) float64 { return set[i-1] }
	mean := func(first, last int, value func(j int) float64) float64 {
		sum, weight := 0.0, 0.0
		for j := first; j <= last; j++ {
			sum, weight = sum+n[j-1]*value(j), weight+n[j-1]
		}
		return sum / weight
	}
	logPower := func(j int) float64 { return math.Log(power[j-1]) }
	least := math.Inf(1)
	total := 0.0
	for _, v := range n {
		total += v
	}
	for i := 0; i < m; i++ {
		for k := 0; m-i-k >= 2; k++ {
			c := mean(i+1, m-k, func(j int) float64 { return logPower(j) - math.Log(s(j)) })
			lo, hi, parameters := 0.0, math.Inf(1), 1.0
			if i > 0 {
				lo, parameters = math.Exp(mean(1, i, logPower)-c), parameters+2
				if lo < 1.03*s(i) || lo > 1.03*s(i+1) || i == 1 && lo-s(1) <= max(0.05*s(1), 0.5) {
					continue
				}
			}
			if k > 0 {
				hi, parameters = math.Exp(mean(m-k+1, m, logPower)-c), parameters+2
				if hi < s(m-k)/1.03 || hi > s(m-k+1)/1.03 || k == 1 && s(m)-hi <= max(0.05*s(m), 0.5) {
					continue
				}
			}
			rss := 0.0
			for j := 1; j <= m; j++ {
				fit := s(j)
				if j <= i {
					fit = lo
				} else if j > m-k {
					fit = hi
				}
				r := logPower(j) - c - math.Log(fit)
				rss += n[j-1] * r * r
			}
			if bic := float64(m)*math.Log(max(rss/total, 1e-6)) + parameters*math.Log(float64(m)); bic < least {
				least, from, to = bic, i+1, m-k
			}
		}
	}
	return from, to
}

func TestEffectiveRangeByDefinition(t *testing.T) {
	moved := 0
	for seed := range uint64(400) {
		random := rand.New(rand.NewPCG(seed, 6))
		m := 3 + random.IntN(8)
		set, power, n := make([]float64, m), make([]float64, m), make([]float64, m)
		lo, hi, noise := 4+8*random.Float64(), 15+30*random.Float64(), 0.04*random.Float64()
		w := 4 + 3*random.Float64()
		for j := range set {
			set[j], n[j] = w, float64(1+random.IntN(4))
			power[j] = min(max(w, lo), hi) * math.Exp(noise*random.NormFloat64())
			w *= 1.05 + 0.4*random.Float64()
		}
		fit := effectiveRange(set, power, n)
		from, to := rangeByDefinition(set, power, n)
		if fit.from+1 != from || fit.to+1 != to {
			t.Errorf("seed %d: %d..%d, by definition %d..%d", seed, fit.from+1, fit.to+1, from, to)
		}
		if from > 1 || to < m {
			moved++
		}
	}
	if moved < 100 || moved > 390 {
		t.Errorf("%d of 400 cases have a floor or a cap: the cases do not test much", moved)
	}
}
