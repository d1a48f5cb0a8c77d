package simdevice

import (
	"math"
	"testing"
	"time"
)

// result plays a workload for a while and returns what it gave.
func result(t testing.TB, cfg Config, w Workload, setting float64, onMains bool) Played {
	t.Helper()
	cfg.StartOnMains = onMains
	d := plain(t, cfg)
	d.SetLimit(setting)
	d.Advance(time.Second)
	d.StartWorkload(w)
	d.Advance(2 * time.Minute)
	p, ok := d.StopWorkload()
	if !ok {
		t.Fatal("nothing was playing")
	}
	return p
}

// TestCurve: the result follows Peak (1 - exp(-(w-Start)/Scale)) of the true
// package power; the die's temperature shifts the watts that reach the work by
// a few tenths.
func TestCurve(t *testing.T) {
	for _, w := range []float64{8, 15, 25, 40} {
		p := result(t, UnitOak(), HarbourFlight(), w, true)
		near(t, "fps without noise", p.Exact, 100*(1-math.Exp(-(p.PackageW-2)/11)), 0.02)
		near(t, "fps with noise", p.Value, p.Exact, 0.05)
		s := result(t, UnitOak(), TileSort(), w, true)
		near(t, "seconds", s.Exact, 3000/(40*(1-math.Exp(-(s.PackageW-1.5)/14))), 0.03)
		if !s.LowerIsBetter || s.Unit != "s" || p.LowerIsBetter {
			t.Errorf("direction or unit of a result is wrong: %+v", s)
		}
	}
}

// TestPresetsCross: unit-elm is ahead at low watts, unit-oak at high watts.
func TestPresetsCross(t *testing.T) {
	ratio := func(w float64) float64 {
		return result(t, UnitElm(), HarbourFlight(), w, true).Exact / result(t, UnitOak(), HarbourFlight(), w, true).Exact
	}
	if low := ratio(8); low < 1.1 {
		t.Errorf("at 8 W elm is at %.3f of oak, want ahead", low)
	}
	if high := ratio(35); high > 0.95 {
		t.Errorf("at 35 W elm is at %.3f of oak, want behind", high)
	}
}

// TestBatteryLoss: unit-elm loses 5 % on battery from 30 W on, nothing below 18 W.
func TestBatteryLoss(t *testing.T) {
	ratio := func(w float64) float64 {
		return result(t, UnitElm(), HarbourFlight(), w, false).Exact / result(t, UnitElm(), HarbourFlight(), w, true).Exact
	}
	near(t, "battery over mains at 12 W", ratio(12), 1, 0.002)
	near(t, "battery over mains at 35 W", ratio(35), 0.95, 0.002)
}

// TestDip: a planted dip lowers the results at its setting alone.
func TestDip(t *testing.T) {
	cfg := UnitOak()
	cfg.Dips = []Dip{{SettingW: 20, Ratio: 0.08}}
	for _, w := range []float64{15, 20} {
		want := 1.0
		if w == 20 {
			want = 0.92
		}
		near(t, "with over without the dip",
			result(t, cfg, HarbourFlight(), w, true).Exact/result(t, UnitOak(), HarbourFlight(), w, true).Exact, want, 1e-9)
	}
}

// TestResultNoise: over 400 runs the logarithms of value/exact spread by the
// configured CV; the tolerance is four standard errors of a standard deviation.
func TestResultNoise(t *testing.T) {
	cfg := Config{NoiseCV: 0.02}
	d := plain(t, cfg)
	d.Plug()
	const n = 400
	sum, square := 0.0, 0.0
	for range n {
		d.StartWorkload(HarbourFlight())
		d.Advance(time.Second)
		p, _ := d.StopWorkload()
		x := math.Log(p.Value / p.Exact)
		sum, square = sum+x, square+x*x
	}
	sd := math.Sqrt(square/n - sum*sum/n/n)
	near(t, "sd of log results", sd, 0.02, 4/math.Sqrt(2*n))
	cfg.NoiseCV = -1
	quiet := result(t, cfg, HarbourFlight(), 15, true)
	near(t, "result without noise", quiet.Value, quiet.Exact, 1e-12)
}

func TestSpoilNext(t *testing.T) {
	d := plain(t, Config{NoiseCV: -1})
	for _, want := range []float64{0.7, 1} {
		if want < 1 {
			d.SpoilNext(want)
		}
		d.StartWorkload(HarbourFlight())
		d.Advance(time.Minute)
		p, _ := d.StopWorkload()
		near(t, "spoilt over exact", p.Value/p.Exact, want, 1e-9)
	}
}

// TestHotStart: a run that starts hot loses to leakage.
func TestHotStart(t *testing.T) {
	cold, hot := plain(t, UnitOak()), plain(t, UnitOak())
	hot.SetLimit(10)
	cold.SetLimit(10)
	hot.HeatTo(85)
	var exact [2]float64
	for i, d := range []*Device{cold, hot} {
		d.StartWorkload(HarbourFlight())
		d.Advance(30 * time.Second)
		p, _ := d.StopWorkload()
		exact[i] = p.Exact
	}
	if ratio := exact[1] / exact[0]; ratio > 0.97 || ratio < 0.7 {
		t.Errorf("a hot start gives %.3f of a cold one, want a loss of some per cent", ratio)
	}
}

func TestBackgroundLoadCosts(t *testing.T) {
	free, busy := plain(t, UnitOak()), plain(t, UnitOak())
	busy.BackgroundLoad(0.3)
	busy.Advance(time.Minute)
	if got := busy.Truth().BusyRatio; math.Abs(got-0.31) > 0.01 {
		t.Errorf("at rest but for the background the CPUs are busy %.3f, want 0.31", got)
	}
	if busy.Truth().PackageW < 5 {
		t.Errorf("the background takes only %.2f W", busy.Truth().PackageW)
	}
	var exact [2]float64
	for i, d := range []*Device{free, busy} {
		d.StartWorkload(HarbourFlight())
		d.Advance(time.Minute)
		p, _ := d.StopWorkload()
		exact[i] = p.Exact
	}
	if ratio := exact[1] / exact[0]; ratio > 0.9 {
		t.Errorf("with other load the result is %.3f of the free one, want less", ratio)
	}
}

// TestPhasesAndWarmUp: the load's mean level is what its parts say.
func TestPhasesAndWarmUp(t *testing.T) {
	l := Load{Phases: []Phase{{For: 10 * time.Second, Level: 0.2}, {For: 30 * time.Second, Level: 0.8}}}
	for _, c := range []struct{ s, want float64 }{{0, 0.2}, {9.9, 0.2}, {10, 0.8}, {39.9, 0.8}, {40, 0.2}, {95, 0.8}} {
		if got := l.level(time.Duration(c.s * 1e9)); got != c.want {
			t.Errorf("level after %v s is %v, want %v", c.s, got, c.want)
		}
	}
	w := Load{WarmUp: 10 * time.Second, WarmUpLevel: 0.5}
	near(t, "level at first", w.level(0), 0.5, 1e-12)
	near(t, "level after one time constant", w.level(10*time.Second), 1-0.5/math.E, 1e-9)
}

// TestFrameTimes: there are as many frames as the mean rate says, they last as
// long as the run, and they repeat.
func TestFrameTimes(t *testing.T) {
	p := result(t, UnitOak(), HarbourFlight(), 20, true)
	frames := p.FrameTimes()
	sum, slow := 0.0, 0
	for _, ms := range frames {
		if !(ms > 0) {
			t.Fatalf("a frame takes %v ms", ms)
		}
		if sum += ms; ms > 2*1000/p.Value {
			slow++
		}
	}
	near(t, "duration, ms", sum, 120e3, 1e-9)
	near(t, "frames a second", float64(len(frames))/120, p.Value, 0.5/float64(len(frames)))
	if share := float64(slow) / float64(len(frames)); share < 0.001 || share > 0.01 {
		t.Errorf("%.4f of the frames stutter, want about 0.003", share)
	}
	again := p.FrameTimes()
	if len(again) != len(frames) || again[17] != frames[17] {
		t.Error("a second call gives other frames")
	}
	if result(t, UnitOak(), TileSort(), 20, true).FrameTimes() != nil {
		t.Error("a job that is timed has frames")
	}
}

func TestNothingPlayed(t *testing.T) {
	d := plain(t, Config{})
	if _, ok := d.StopWorkload(); ok {
		t.Error("a workload was stopped that never started")
	}
	d.StartWorkload(HarbourFlight())
	if p, ok := d.StopWorkload(); !ok || !math.IsNaN(p.Value) || p.FrameTimes() != nil {
		t.Errorf("a run of no length gives %v", p.Value)
	}
}
