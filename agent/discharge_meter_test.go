package agent

import (
	"math"
	"testing"
	"time"

	"sweepd/internal/scripted"
	"sweepd/judge"
	"sweepd/run"
)

// The live discharge is what the battery reports or, where it tells its content alone,
// how fast that fell over the last half minute.
func TestLiveDischarge(t *testing.T) {
	watts := func(t time.Duration) float64 {
		if t < 2*time.Minute {
			return 20
		}
		return 10
	}
	content := func(t time.Duration) float64 { // whole joules, refreshed once a second
		s := math.Floor(t.Seconds())
		return 180000 - 20*min(s, 120) - 10*max(s-120, 0)
	}
	for name, reported := range map[string]bool{"by power": true, "by content": false} {
		s := newStepped(t, func(t time.Duration) scripted.State {
			x := scripted.OnBattery(t)
			x.Energy, x.Power = content(t), math.NaN()
			if reported {
				x.Power = watts(t)
			}
			return x
		})
		live := func() float64 {
			if err := s.SweepIdle(t.Context()); err != nil {
				t.Fatal(err)
			}
			var snap Snapshot
			s.Snapshot(&snap)
			return snap.DischargeWatts
		}
		for second := range 240 {
			got := live()
			switch {
			case reported:
				if want := watts(time.Duration(second) * time.Second); got != want {
					t.Errorf("%s after %d s: %v W, want %v", name, second, got, want)
				}
			case second == 0 && !math.IsNaN(got):
				t.Errorf("%s at the start: %v W, want unknown", name, got)
			case second > 5 && second <= 120 && !(math.Abs(got-20) <= 1e-9), second > 153 && !(math.Abs(got-10) <= 1e-9): // also where it is unknown
				t.Errorf("%s after %d s: %v W, want %v", name, second, got, watts(time.Duration(second)*time.Second))
			case second == 135 && !(got >= 12 && got <= 18): // half of the half minute
				t.Errorf("%s 15 s after the change from 20 to 10 W: %v W, want about 15", name, got)
			}
			s.m.advance(time.Second)
		}
	}
}

// Two changes at one moment, as of a sweep at a run's edge, tell no fall.
func TestContentThatChangesTwiceAtOnce(t *testing.T) {
	var f contentFall
	content := judge.BatteryIndex{Power: -1, Charge: -1, Direction: -1, Full: -1}
	for i, at := range []time.Duration{0, time.Second, time.Second} {
		f.observe(content, []float64{1000 - float64(i)}, scripted.After(scripted.Start, at))
	}
	if w := f.watts(); !math.IsNaN(w) {
		t.Errorf("%v W, want unknown", w)
	}
}

// A battery that was pulled leaves the others' discharge known; one that says
// something, but neither power nor content, does not.
func TestLiveDischargeOfSeveralBatteries(t *testing.T) {
	index := judge.NewSensorIndex([]run.Sensor{{ID: run.BatteryPower, Instance: "BAT0"}, {ID: run.BatteryDirection, Instance: "BAT0"},
		{ID: run.BatteryPower, Instance: "BAT1"}, {ID: run.BatteryDirection, Instance: "BAT1"}})
	nan := math.NaN()
	for _, c := range []struct {
		values []float64
		want   float64
	}{
		{[]float64{8, 1, 4, 1}, 12}, {[]float64{8, 1, nan, nan}, 8}, {[]float64{nan, nan, 4, 1}, 4}, {[]float64{8, 1, nan, 0}, 8},
		{[]float64{8, 1, nan, 1}, nan}, {[]float64{nan, nan, nan, nan}, nan}, {[]float64{-8, -1, 3, 1}, -5},
	} {
		var m dischargeMeter
		if got := m.observe(&index, c.values, scripted.Start); got != c.want && !(math.IsNaN(got) && math.IsNaN(c.want)) {
			t.Errorf("%v: %v W, want %v", c.values, got, c.want)
		}
	}
}

// A battery that tells its content alone and is changed, or learns anew, while 20 W leave
// it: the live discharge is 20 W or, until its next change, unknown.
func TestLiveDischargeOfAContentThatSteps(t *testing.T) {
	for _, step := range []float64{-42_660, 12_800, 100_000} {
		s := newStepped(t, func(t time.Duration) scripted.State {
			x := scripted.OnBattery(t)
			if x.Power = math.NaN(); t >= time.Minute {
				x.Energy += step
			}
			return x
		})
		for second := range 120 {
			if err := s.SweepIdle(t.Context()); err != nil {
				t.Fatal(err)
			}
			var snap Snapshot
			s.Snapshot(&snap)
			unknown := second < 2 || second == 60
			if got := snap.DischargeWatts; math.IsNaN(got) != unknown || !unknown && math.Abs(got-20) > 1e-9 {
				t.Errorf("a step of %v J, after %d s: %v W", step, second, got)
			}
			s.m.advance(time.Second)
		}
	}
}
