package judge

import (
	"math"
	"testing"
	"time"

	"sweepd/internal/scripted"
)

// Reference series with certified values: NIST StRD univariate, Mavro (n 50):
// mean 2.001856, sd 0.000429123454003053, lag-1 autocorrelation
// 0.937989183438248.
func TestAutocorrelationMavro(t *testing.T) {
	v := []float64{180, 170, 180, 190, 180, 170, 150, 140, 150, 150, 170, 180, 180, 190, 190, 210, 200, 160, 140, 130, 130, 150, 150, 160, 150, 140, 130, 140, 150, 140, 150, 160, 150, 160, 190, 200, 200, 210, 220, 230, 240, 250, 270, 260, 260, 260, 270, 260, 250, 240}
	var a autocorrelation
	for _, x := range v {
		a.add(2 + x/100000)
	}
	near(t, "mean", a.mean, 2.001856, 1e-12)
	near(t, "sd", a.sd(), 0.000429123454003053, 1e-11)
	near(t, "r1", a.r1(), 0.937989183438248, 1e-9)
	// So correlated, 50 values count as fewer than two: as two, with one degree of
	// freedom, whose 0.975 quantile of Student's t is 12.7062 (any table).
	near(t, "standard error", a.standardError(), a.sd()/math.Sqrt2*12.7062/1.95996, 1e-5)
}

// Independent values count fully: of 100 that alternate about 20 (their correlation is
// below 0, which is not made use of) the mean is known to s/10, widened by Student's t
// with 99 degrees of freedom (1.98422, any table).
func TestStandardErrorOfIndependentValues(t *testing.T) {
	var a autocorrelation
	for i := range 100 {
		a.add(20 + float64(i%2))
	}
	near(t, "standard error", a.standardError(), math.Sqrt(25./99)/10*1.98422/1.95996, 1e-5)
	var one autocorrelation
	if one.add(20); one.standardError() != 0 || !math.IsNaN(one.sd()) || one.sdOr(7) != 7 {
		t.Errorf("one value: standard error %v, sd %v", one.standardError(), one.sd())
	}
}

func near(t *testing.T, what string, got, want, rel float64) {
	t.Helper()
	if math.IsNaN(got) || math.Abs(got-want) > rel*math.Abs(want) {
		t.Errorf("%s is %.15g, want %.15g within %g", what, got, want, rel)
	}
}

func TestDischarge(t *testing.T) {
	const run = 300 * time.Second
	t.Run("both ways agree", func(t *testing.T) {
		d := wantFindings(t, scripted.Play(run, scripted.OnBattery), nil, "").Discharge
		near(t, "discharge", *d.Watts, 20, 0.002)
		near(t, "from power", *d.FromPowerWatts, 20, 1e-9)
		near(t, "from energy", *d.FromEnergyWatts, 20, 1e-9)
		if u := *d.UncertaintyWatts; u <= 0 || u > 0.02*20 {
			t.Errorf("uncertainty %v W of 20 W, want above 0 and at most 2 %%", u)
		}
	})
	t.Run("content only, counted from change to change", func(t *testing.T) {
		// A gauge that refreshes every 1.9 s: over 18 s, the content's fall
		// between the run's edges would be 5 % wrong.
		d := wantFindings(t, scripted.Play(18*time.Second, func(t time.Duration) scripted.State {
			s := scripted.OnBattery(t)
			s.Power = nan
			s.Energy = 180000 - 20*1.9*math.Floor((t.Seconds()+0.7)/1.9)
			return s
		}), nil, "").Discharge
		if d.FromPowerWatts != nil {
			t.Errorf("from power is %v without a reported power", *d.FromPowerWatts)
		}
		near(t, "discharge", *d.Watts, 20, 0.02)
	})
	t.Run("neither power nor content", func(t *testing.T) {
		d := wantFindings(t, scripted.Play(run, func(t time.Duration) scripted.State {
			s := scripted.OnBattery(t)
			s.Power, s.Energy = nan, nan
			return s
		}), nil, "").Discharge
		if d.Watts != nil || d.UncertaintyWatts != nil {
			t.Errorf("discharge is %v, want unknown", *d.Watts)
		}
	})
	t.Run("at rest on mains", func(t *testing.T) {
		d := wantFindings(t, scripted.Play(run, scripted.OnMains), nil, "").Discharge
		if d.Watts == nil || *d.Watts != 0 {
			t.Errorf("discharge at rest is %v, want 0", deref(d.Watts))
		}
	})
	t.Run("charging is negative", func(t *testing.T) {
		d, err := judged(scripted.Play(run, func(t time.Duration) scripted.State {
			s := scripted.OnMains(t)
			s.Power, s.Direction, s.Energy = -18, -1, 100000+18*math.Floor(t.Seconds())
			return s
		}))
		if err != nil {
			t.Fatal(err)
		}
		near(t, "discharge", *d.Discharge.Watts, -18, 0.002)
		if d.SystemW != nil {
			t.Errorf("system_w on mains is %v, want unknown", *d.SystemW)
		}
	})
	t.Run("a power that contradicts the content is not believed", func(t *testing.T) {
		d := wantFindings(t, scripted.Play(run, func(t time.Duration) scripted.State {
			s := scripted.OnBattery(t)
			s.Power = 24
			return s
		}), nil, "").Discharge
		if lo, hi := *d.Watts-*d.UncertaintyWatts, *d.Watts+*d.UncertaintyWatts; lo > 20.1 || hi < 23.9 {
			t.Errorf("interval %.2f to %.2f W hides that power says 24 W and content 20 W", lo, hi)
		}
	})
}

func TestCombineWeighsByUncertainty(t *testing.T) {
	// Two readings 10.0 (u 0.3) and 10.4 (u 0.4): weights 16:9, u 0.24
	// (closed form).
	c := combine(estimate{10.0, 0.3, true}, estimate{10.4, 0.4, true})
	near(t, "mean", c.watts, (10.0*16+10.4*9)/25, 1e-12)
	near(t, "u", c.u, 0.24, 1e-12)
}

// Two readings that contradict each other are both moved so far from certain that they
// just agree: their distance is then what their variances explain (chi squared of one
// degree of freedom is 1; Paule & Mandel 1982). With 10 (u 0.3) and 12 (u 0.4) each gets
// (4 - 0.09 - 0.16)/2 = 1.875 more, so the weights are 1/1.965 and 1/2.035.
func TestCombineOfContradictions(t *testing.T) {
	c := combine(estimate{10, 0.3, true}, estimate{12, 0.4, true})
	near(t, "mean", c.watts, (10/1.965+12/2.035)/(1/1.965+1/2.035), 1e-12)
	near(t, "u", c.u, math.Sqrt(1/(1/1.965+1/2.035)), 1e-12)
}

// A gauge that shows for the first 10 s of a minute what was before the run: in that
// time the power may have been anything from 4 to 20 W. That is a rectangular
// distribution of 16 W (u = 16/sqrt 3, GUM 4.3.7) over a sixth of the run.
func TestDischargeOfAnUnseenStart(t *testing.T) {
	d, err := judged(scripted.Play(time.Minute, func(t time.Duration) scripted.State {
		s := scripted.OnBattery(t)
		s.Energy = nan
		if s.Power = 4; t >= 10*time.Second {
			s.Power = 20 + 0.001*math.Mod(math.Floor(t.Seconds()), 2) // refreshed each second
		}
		return s
	}))
	if err != nil {
		t.Fatal(err)
	}
	near(t, "discharge", *d.Discharge.Watts, 20.0005, 1e-4)
	near(t, "half width", *d.Discharge.UncertaintyWatts, 1.96*16/math.Sqrt(3)/6, 0.005)
}

// What makes a fall of content uncertain, each by its closed form: 1000 J in 100 s and
// ten falls, of a gauge in steps of 36 J that refreshes every 10 s, in a run of 120 s.
// Rounding and timing at both ends are rectangular (u = a/sqrt 6 for two), what lies
// outside is taken to scatter by a tenth where no power is known.
func TestUncertaintyOfAFall(t *testing.T) {
	b := batteryTrack{b: BatteryIndex{Energy: 0}, moving: true, moved: true, pieces: 1, falls: 10, fall: 1000, span: 100, quantum: 36,
		firstP: nan, changed: 11, lastChanged: 100 * time.Second}
	e := b.fromEnergy(120)
	near(t, "watts", e.watts, 10, 1e-12)
	near(t, "u", e.u, math.Sqrt(0.01*0.01+0.36*0.36/6+1.0/6+1.0/36), 1e-12)
	b.quantum = 500 // no more than flows between two changes
	near(t, "u of a coarse gauge", b.fromEnergy(120).u, math.Sqrt(0.01*0.01+1.0/6+1.0/6+1.0/36), 1e-12)
	b.pieces = 4 // each has two ends
	near(t, "u of pieces", b.fromEnergy(120).u, math.Sqrt(0.01*0.01+4.0/6+4.0/6+1.0/36), 1e-12)
	if b.falls = 1; b.fromEnergy(120).ok {
		t.Error("one fall tells a discharge")
	}
}

// A content that stands still is a discharge of nothing; without one nothing is known.
func TestContentAtRest(t *testing.T) {
	for place, known := range map[int]bool{0: true, 3: true, -1: false} {
		b := batteryTrack{b: BatteryIndex{Energy: place}}
		if e := b.fromEnergy(60); e.ok != known || e.watts != 0 || e.u != floorWatts {
			t.Errorf("content at place %d: %+v, want known %v", place, e, known)
		}
	}
	b := batteryTrack{b: BatteryIndex{Energy: 0}, moving: true}
	if e := b.fromEnergy(60); e.ok {
		t.Errorf("a battery that works while its content stands still: %+v", e)
	}
}

// In a run too short for refreshed values all of them count: 22 W are known to 5 %, to
// what came late (4 W within two refreshes of 2 s in 10 s), and to the rounding.
func TestUncertaintyOfAShortRun(t *testing.T) {
	b := batteryTrack{resolution: 0.1, moving: true, firstP: 20, endP: 24, changed: 2, lastChanged: 2 * time.Second,
		power: integrator{n: 2, first: 20, area: 220, covered: 10 * time.Second}}
	e := b.fromPower(10)
	near(t, "watts", e.watts, 22, 1e-12)
	late := 4 * 2 * 2.0 / 10 / math.Sqrt(3)
	near(t, "u", e.u, math.Sqrt(1.1*1.1+late*late+0.01/12), 1e-12)
	b.moving = false
	near(t, "u at rest", b.fromPower(10).u, math.Sqrt(0.022*0.022+late*late+0.01/12), 1e-12)
	if b.fromPower(10.6).ok || !b.fromPower(10.5).ok {
		t.Error("a power counts from 95 % of the run on")
	}
}
