package judge

import (
	"math"
	"sweepd/internal/scripted"
	"testing"
	"time"
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
