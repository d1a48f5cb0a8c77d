package frames

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

func near(a, b, tolerance float64) bool { return math.Abs(a-b) <= tolerance*math.Max(1, math.Abs(b)) }

// Hyndman & Fan (1996), Am. Stat. 50:361-365, on x = 15 20 35 40 50, as R's
// quantile(x, p, type = 7) gives them.
func TestQuantilesOfR(t *testing.T) {
	r := Ranked{values: []float64{15, 20, 35, 40, 50}}
	for i, p := range []float64{.05, .30, .40, .50, .75, .90, 1} {
		if got, want := r.Quantile(p), []float64{16, 23, 29, 35, 40, 46, 50}[i]; !near(got, want, 1e-12) {
			t.Errorf("at %v: %v, want %v", p, got, want)
		}
	}
	// NIST/SEMATECH e-Handbook of Statistical Methods, 7.2.6.2: 12 gauge readings;
	// 90 % by type 7 as R gives it.
	r.values = slices.Sorted(slices.Values([]float64{95.1772, 95.1567, 95.1937, 95.1959, 95.1442, 95.0610, 95.1591, 95.1195, 95.1065, 95.0925, 95.1990, 95.1682}))
	if got := r.Quantile(.9); !near(got, 95.19568, 1e-9) {
		t.Errorf("90 %% of the gauge readings: %v", got)
	}
}

// Worked by hand: 200 frames, of which 196 take 10 ms, then 20, 30, 40 and 100 ms.
// Total 1960 + 190 = 2150 ms. The slowest 1 % are 2 frames of 140 ms; the slowest
// 0.1 % is 1 frame. Type 7 at 0.99: h = 199 × 0.99 = 197.01, between rank 198
// (30 ms) and 199 (40 ms): 30.1 ms. At 0.999: h = 198.801, between 40 and 100 ms:
// 88.06 ms. At 0.95: h = 189.05, 10 ms.
func TestSummaryByHand(t *testing.T) {
	times := NewTimes(0.030)
	random := rand.New(rand.NewPCG(1, 1))
	all := slices.Concat(slices.Repeat([]float64{0.010}, 196), []float64{0.020, 0.030, 0.040, 0.100})
	random.Shuffle(len(all), func(i, j int) { all[i], all[j] = all[j], all[i] })
	for _, s := range all {
		times.Add(s)
	}
	s, err := times.Summary()
	if err != nil {
		t.Fatal(err)
	}
	if times.Frames() != 200 || s.Frames != 200 {
		t.Errorf("%d and %d frames, want 200", times.Frames(), s.Frames)
	}
	for _, c := range []struct {
		what      string
		got, want float64
	}{
		{"total", s.TotalS, 2.15}, {"mean", s.MeanFPS, 200 / 2.15}, {"median", s.MedianFPS, 100},
		{"edge of 1 %", s.Slowest1.PercentileFPS, 1000 / 30.1}, {"mean of 1 %", s.Slowest1.MeanFPS, 2 / 0.140},
		{"edge of 0.1 %", s.Slowest01.PercentileFPS, 1000 / 88.06}, {"mean of 0.1 %", s.Slowest01.MeanFPS, 10},
		{"95 %", s.P95Ms, 10}, {"99 %", s.P99Ms, 30.1}, {"longest", s.MaxMs, 100},
		{"share above 30 ms", s.SlowRatio, 2.0 / 200}, {"threshold", s.SlowMs, 30},
	} {
		if !near(c.got, c.want, 1e-12) {
			t.Errorf("%s: %.15g, want %.15g", c.what, c.got, c.want)
		}
	}
	want := []Result{
		{"fps_mean", s.MeanFPS, "fps", false}, {"fps_median", s.MedianFPS, "fps", false},
		{"fps_slowest_1pct_edge", s.Slowest1.PercentileFPS, "fps", false}, {"fps_slowest_1pct_mean", s.Slowest1.MeanFPS, "fps", false},
		{"fps_slowest_0.1pct_edge", s.Slowest01.PercentileFPS, "fps", false}, {"fps_slowest_0.1pct_mean", s.Slowest01.MeanFPS, "fps", false},
		{"frame_ms_p95", s.P95Ms, "ms", true}, {"frame_ms_p99", s.P99Ms, "ms", true}, {"frame_ms_max", s.MaxMs, "ms", true},
		{"slow_frames_over_30ms", s.SlowRatio, "ratio", true},
	}
	if got := s.Results(); !slices.Equal(got, want) {
		t.Errorf("results %v, want %v", got, want)
	}
}

func TestSummaryOfFew(t *testing.T) {
	if _, err := NewTimes(1).Summary(); err == nil {
		t.Error("no frames: no error")
	}
	zero := NewTimes(1)
	zero.Add(0)
	if _, err := zero.Summary(); err == nil {
		t.Error("a frame of no time: no error")
	}
	none := NewTimes(1)
	none.counts = map[uint32]int64{}
	if n := none.Ranked().Frames(); n != 0 {
		t.Errorf("no frames: %d", n)
	}
	one := NewTimes(1)
	one.Add(0.02)
	if s, err := one.Summary(); err != nil || s.MeanFPS != 50 || s.Slowest01 != (Slowest{50, 50}) || s.MedianFPS != 50 {
		t.Errorf("%+v, %v", s, err)
	}
	// Frames that take no time have no rate, and no result.
	many := NewTimes(1)
	for range 99 {
		many.Add(0)
	}
	many.Add(1)
	s, err := many.Summary()
	if err != nil || s.MeanFPS != 100 {
		t.Fatalf("%+v, %v", s, err)
	}
	for _, r := range s.Results() {
		if r.Name == "fps_median" || math.IsInf(r.Value, 0) {
			t.Errorf("%+v", r)
		}
	}
}

// The slowest 1 % of 700 frames are 7, though 0.01 × 700 is 7.000000000000001 in
// binary floating point; of 701 they are 8.
func TestSlowestShareCountsWholeFrames(t *testing.T) {
	for _, c := range []struct {
		share float64
		one   int // in so many
	}{{0.01, 100}, {0.001, 1000}} {
		for slowest := 1; slowest <= 100; slowest++ {
			for _, more := range []int{0, 1} {
				frames := slowest*c.one + more
				values := slices.Concat(slices.Repeat([]float64{0.01}, frames-slowest), slices.Repeat([]float64{1}, slowest))
				want := 1.0
				if more > 0 {
					want = float64(slowest+1) / (float64(slowest) + 0.01)
				}
				if got := (Ranked{values: values}).slowestFraction(c.share).MeanFPS; !near(got, want, 1e-12) {
					t.Fatalf("slowest %v of %d frames: %v, want %v", c.share, frames, got, want)
				}
			}
		}
	}
}

// Beyond Exact frames quantiles are rounded, by no more than Resolution.
func TestRoundedWithinResolution(t *testing.T) {
	random := rand.New(rand.NewPCG(3, 3))
	rounded := NewTimes(0.05)
	var all []float64
	for range Exact + 100_000 {
		s := 0.012 * math.Exp(0.4*random.NormFloat64())
		rounded.Add(s)
		all = append(all, s)
	}
	if !rounded.Rounded() || len(rounded.exact) > 0 {
		t.Fatalf("rounded %v, with %d times kept one by one", rounded.Rounded(), len(rounded.exact))
	}
	if math.Abs(Resolution-1.0/32768) > 1e-12 { // half of what the 14 bits after the first leave open
		t.Fatalf("a resolution of %v", Resolution)
	}
	slices.Sort(all)
	exact := Ranked{values: all}
	got := rounded.Ranked()
	if got.Frames() != exact.Frames() {
		t.Fatalf("%d, want %d", got.Frames(), exact.Frames())
	}
	for _, p := range []float64{0, .001, .01, .05, .5, .95, .99, .999, 1} {
		if a, b := got.Quantile(p), exact.Quantile(p); math.Abs(a-b) > Resolution*b {
			t.Errorf("at %v: %v, exactly %v", p, a, b)
		}
	}
	for _, share := range []float64{0.01, 0.001} {
		a, b := got.slowestFraction(share), exact.slowestFraction(share)
		if math.Abs(a.MeanFPS-b.MeanFPS) > Resolution*b.MeanFPS || math.Abs(a.PercentileFPS-b.PercentileFPS) > Resolution*b.PercentileFPS {
			t.Errorf("slowest %v: %+v, exactly %+v", share, a, b)
		}
	}
}

// Identities for any frame times: counts kept by leading bits agree with the plain
// list within their resolution, order and extremes hold.
func TestTimesProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		list := rapid.SliceOfN(rapid.Float64Range(1e-5, 2), 1, 300).Draw(t, "times")
		plain, counted := NewTimes(0.02), NewTimes(0.02)
		counted.counts = map[uint32]int64{}
		for _, s := range list {
			plain.Add(s)
			counted.Add(s)
		}
		a, b := plain.Ranked(), counted.Ranked()
		if n := int64(len(list)); a.Frames() != n || b.Frames() != n {
			t.Fatalf("%d and %d frames of %d", a.Frames(), b.Frames(), n)
		}
		for _, p := range []float64{0, 0.1, 0.5, 0.9, 0.99, 1} {
			if x, y := a.Quantile(p), b.Quantile(p); math.Abs(x-y) > Resolution*x*(1+1e-9) {
				t.Fatalf("quantile %v: %v and %v", p, x, y)
			}
		}
		s, err := plain.Summary()
		if err != nil {
			t.Fatal(err)
		}
		shortest, longest := slices.Min(list), slices.Max(list)
		if a.Quantile(0) != shortest || a.Quantile(1) != longest {
			t.Fatal("extremes")
		}
		between := func(v float64) bool { return v >= 1/longest*(1-1e-12) && v <= 1/shortest*(1+1e-12) }
		if !between(s.MeanFPS) || !between(s.MedianFPS) || !between(s.Slowest1.MeanFPS) || !between(s.Slowest1.PercentileFPS) {
			t.Fatalf("%+v", s)
		}
		if s.Slowest01.MeanFPS > s.Slowest1.MeanFPS*(1+1e-12) || s.Slowest1.MeanFPS > s.MeanFPS*(1+1e-12) {
			t.Fatalf("the slowest are not the slowest: %+v", s)
		}
	})
}
