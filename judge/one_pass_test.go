package judge

import (
	"math"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"sweepd/internal/scripted"
	"sweepd/run"
)

// quantileOf is the time-weighted quantile of these readings.
func quantileOf(p float64, list []weighted) float64 {
	q := timeQuantiles{p: p, tails: []upperTail{{gauge: true, limit: math.MaxInt64, lowest: math.Inf(-1)}}}
	for _, e := range list {
		q.tails[0].add(e.x, e.w)
	}
	return q.of(0)
}

// Type 1 of Hyndman & Fan 1996 (Am. Stat. 50:361-365) with equal weights:
// their 15 20 35 40 50, values from R's quantile(type = 1).
func TestWeightedQuantile(t *testing.T) {
	for p, want := range map[float64]float64{.05: 15, .30: 20, .40: 20, .50: 35, .75: 40, .90: 50, 1: 50} {
		if got := quantileOf(p, []weighted{{40, 2}, {15, 2}, {50, 2}, {20, 2}, {35, 2}}); got != want {
			t.Errorf("quantile %v is %v, want %v", p, got, want)
		}
	}
	if got := quantileOf(.5, nil); !math.IsNaN(got) {
		t.Errorf("quantile of nothing is %v", got)
	}
}

// counted counts the walks over a trace.
type counted struct {
	*scripted.Trace
	walks int
}

func (c *counted) Each(f func(run.Sweep) error) error { c.walks++; return c.Trace.Each(f) }

// uneven is a run with noise, holes and sweeps at uneven distances, of a sensor that
// has an own value at each sweep, one that shows few, a counter and one that comes
// late.
func uneven(t *rapid.T) *scripted.Trace {
	s := &scripted.Trace{Of: []run.Sensor{{ID: run.PackagePower, Unit: "watts"}, {ID: run.Temperature, Unit: "celsius"},
		{ID: run.PackageEnergy, Unit: "joules", Kind: run.Counter}, {ID: run.FanSpeed, Unit: "hertz"}}}
	n := rapid.IntRange(0, 1200).Draw(t, "sweeps")
	seed := rapid.Uint64().Draw(t, "seed")
	next := func() float64 { // xorshift64: cheap to shrink
		seed ^= seed << 13
		seed ^= seed >> 7
		seed ^= seed << 17
		return float64(seed>>11) / (1 << 53)
	}
	seed |= 1
	at, warm := time.Duration(0), rapid.IntRange(0, 200).Draw(t, "warm")
	for i := range n {
		values := []float64{20 + 5*next(), 40 + math.Floor(4*next()), float64(i), 30}
		if i < warm {
			values[0] += 20
		}
		for j := range values {
			if next() < 0.02 {
				values[j] = math.NaN()
			}
		}
		if i < n/3 {
			values = values[:3]
		}
		s.Sweeps = append(s.Sweeps, run.Sweep{At: scripted.After(scripted.Start, at), Values: values})
		switch x := next(); {
		case x < 0.01:
			at += 5 * time.Second
		case x < 0.02: // two at the same time, as at a run's end
		default:
			at += time.Duration(200+100*next()) * time.Millisecond
		}
	}
	return s
}

// bridgeOf is the longest hole that is bridged: 3 s, or five times the typical distance
// between the first sweeps; in a run of three sweeps that can be the hole itself.
func bridgeOf(s *scripted.Trace) time.Duration {
	var between []time.Duration
	for k := 1; k < min(len(s.Sweeps), 201); k++ {
		between = append(between, s.Sweeps[k].At.Mono-s.Sweeps[k-1].At.Mono)
	}
	if len(between) == 0 {
		return 3 * time.Second
	}
	slices.Sort(between)
	return max(3*time.Second, 5*between[len(between)/2])
}

// p95Of sorts all readings of a sensor, and steadyOf takes the trapezoid of those from
// cut on: what Judge finds in one pass, by the definition.
func p95Of(s *scripted.Trace, i int) float64 {
	var list []weighted
	total := time.Duration(0)
	for k, x := range s.Sweeps {
		w := time.Duration(0)
		if k > 0 {
			w += x.At.Mono - s.Sweeps[k-1].At.Mono
		}
		if k+1 < len(s.Sweeps) {
			w += s.Sweeps[k+1].At.Mono - x.At.Mono
		}
		if v := At(x.Values, i); !math.IsNaN(v) {
			list = append(list, weighted{v, w})
			total += w
		}
	}
	slices.SortFunc(list, func(a, b weighted) int {
		if a.x < b.x {
			return -1
		}
		return 1
	})
	below := time.Duration(0)
	for _, e := range list {
		if below += e.w; float64(below) >= 0.95*float64(total)*(1-1e-12) {
			return e.x
		}
	}
	return math.NaN()
}

func steadyOf(s *scripted.Trace, i int, cut, bridge time.Duration) float64 {
	area, covered, first := 0.0, 0.0, math.NaN()
	var last run.Sweep
	for _, x := range s.Sweeps {
		if math.IsNaN(At(x.Values, i)) || x.At.Mono-s.Sweeps[0].At.Mono < cut {
			continue
		}
		if math.IsNaN(first) {
			first = x.Values[i]
		} else if dt := x.At.Mono - last.At.Mono; dt <= bridge {
			area += (x.Values[i] + last.Values[i]) / 2 * dt.Seconds()
			covered += dt.Seconds()
		}
		last = x
	}
	if covered == 0 {
		return first
	}
	return area / covered
}

func same(got *float64, want, within float64) bool {
	if math.IsNaN(want) {
		return got == nil
	}
	return got != nil && math.Abs(*got-want) <= within*math.Abs(want)
}

func TestOnePassIsTheDefinition(t *testing.T) {
	cuts := 0
	rapid.Check(t, func(t *rapid.T) {
		trace := &counted{Trace: uneven(t)}
		d := run.Record{Run: run.Run{State: run.Finished}}
		walks := 1
		length, sweeps := 0.0, trace.Sweeps
		if n := len(sweeps); n > 0 {
			length = (sweeps[n-1].At.Mono - sweeps[0].At.Mono).Seconds()
		}
		switch rapid.SampledFrom([]string{"known", "unknown", "wrong"}).Draw(t, "duration") {
		case "known":
			d.DurationS = &length
		case "wrong":
			half := length / 2
			d.DurationS = &half
		}
		if length > 0 && (d.DurationS == nil || *d.DurationS+1 < length) {
			walks = 2
		}
		if rapid.Bool().Draw(t, "cut given") {
			cut := rapid.Float64Range(0.1, 60).Draw(t, "cut")
			d.WarmUpS = &cut
		}
		got, err := Judge(d, trace, Thresholds{})
		if err != nil {
			t.Fatal(err)
		}
		if trace.walks != walks {
			t.Errorf("%d walks over the trace, want %d", trace.walks, walks)
		}
		for _, s := range got.Summaries {
			i := slices.IndexFunc(trace.Of, func(x run.Sensor) bool { return x.ID == s.Sensor })
			p95, steady := p95Of(trace.Trace, i), math.NaN()
			if got.WarmUpS != nil {
				cuts++
				steady = steadyOf(trace.Trace, i, time.Duration(*got.WarmUpS*float64(time.Second)), bridgeOf(trace.Trace))
			}
			if trace.Of[i].Kind == run.Counter {
				p95, steady = math.NaN(), math.NaN()
			}
			if !same(s.P95, p95, 0) || !same(s.SteadyMean, steady, 1e-12) {
				t.Errorf("%s: p95 %v, want %v; steady mean %v, want %v after %v s", s.Sensor, deref(s.P95), p95, deref(s.SteadyMean), steady, deref(got.WarmUpS))
			}
		}
	})
	if cuts < 20 {
		t.Errorf("a warm-up was cut in %d summaries alone", cuts)
	}
}

// A day at 250 ms keeps what the comment of timeQuantiles says, for the worst gauge.
func TestQuantilesOfADayInBoundedMemory(t *testing.T) {
	const sweeps = 24 * 3600 * 4
	q := newTimeQuantiles([]run.Sensor{{ID: run.PackagePower}}, summaryQuantile, sweeps*scripted.Interval)
	most, seed := 0, uint64(1)
	for i := range sweeps + 1 {
		seed = seed*6364136223846793005 + 1442695040888963407 // Knuth, TAOCP 2, 3.3.4
		q.observe([]float64{float64(seed>>11) / (1 << 53)}, time.Duration(i)*scripted.Interval)
		most = max(most, cap(q.tails[0].list))
	}
	if !q.close() || math.Abs(q.of(0)-0.95) > 0.002 {
		t.Errorf("the quantile of evenly spread numbers is %v, want 0.95", q.of(0))
	}
	if bytes := 16 * most; bytes > 24*16_000 {
		t.Errorf("%d bytes were kept for one gauge, want at most 16 kB for each hour", bytes)
	}
}

// What counts as a gap follows the interval that the run was sampled at, which its
// first sweeps tell.
func TestGapsFollowTheInterval(t *testing.T) {
	rare := func(hole time.Duration) *scripted.Trace {
		s := &scripted.Trace{Of: scripted.Sensors}
		for at := time.Duration(0); at <= 10*time.Minute; at += 10 * time.Second {
			if at == 5*time.Minute {
				at += hole
			}
			x := scripted.OnBattery(at)
			s.Sweeps = append(s.Sweeps, run.Sweep{At: scripted.After(scripted.Start, at), Values: x.Values(), Setting: x.Setting, Supply: x.Supply()})
		}
		return s
	}
	d := wantFindings(t, rare(20*time.Second), nil, "")
	for _, s := range d.Summaries {
		if s.Sensor == run.PackagePower && (s.EnergyJoules == nil || math.Abs(*s.EnergyJoules-14.5*600) > 1e-6) {
			t.Errorf("energy %v, want 8700 J", deref(s.EnergyJoules))
		}
	}
	wantFindings(t, rare(30*time.Second), []run.Code{run.SamplingGap}, "longer than 30.0 s, the longest 40.0 s")
	many := scripted.Play(2*time.Minute, scripted.OnBattery) // more sweeps than are looked at
	many.Sweeps = slices.Delete(many.Sweeps, 300, 310)
	wantFindings(t, many, []run.Code{run.SamplingGap}, "longer than 1.0 s, the longest 2.8 s")
}
