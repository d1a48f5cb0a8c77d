package agent

import (
	"math"
	"testing"
	"time"

	"sweepd/internal/scripted"
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
			case second > 5 && second <= 120 && math.Abs(got-20) > 1e-9, second > 153 && math.Abs(got-10) > 1e-9:
				t.Errorf("%s after %d s: %v W, want %v", name, second, got, watts(time.Duration(second)*time.Second))
			case second == 135 && (got < 12 || got > 18): // half of the half minute
				t.Errorf("%s 15 s after the change from 20 to 10 W: %v W, want about 15", name, got)
			}
			s.m.advance(time.Second)
		}
	}
}
