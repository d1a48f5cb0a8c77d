package judge

import (
	"errors"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"sweepd/internal/scripted"
)

// capped wants 28 W with a spread of 6 W, changing every second, and is held at a
// limit; after 25 s it boosts to 40 W for 2 s, and idles from 90 s on.
func capped(seed uint64, limit float64) func(time.Duration) scripted.State {
	r := rand.New(rand.NewPCG(seed, 0))
	want := make([]float64, 200)
	for i := range want {
		want[i] = 28 + 6*r.NormFloat64()
	}
	return func(t time.Duration) scripted.State {
		s := scripted.OnBattery(t)
		second := int(t.Seconds())
		s.Busy, s.Watts = 0.95, min(want[second], limit)*(1+0.002*r.NormFloat64())
		switch {
		case second == 25 || second == 26:
			s.Watts = 40
		case second >= 90:
			s.Busy, s.Watts = 0.02, 3
		}
		s.Power = s.Watts + 6
		return s
	}
}

func TestInferredLimitIsTheTruth(t *testing.T) {
	for seed := range uint64(50) {
		for _, limit := range []float64{10, 18, 25} {
			l, err := InferLimit(scripted.Play(2*time.Minute, capped(seed, limit)))
			if err != nil || math.Abs(l.Watts-limit) > 0.01*limit || l.Lower > limit || l.Upper < limit || l.From != "package_w" || l.BusySeconds != 90 {
				t.Errorf("seed %d, limit %v W: %+v, %v", seed, limit, l, err)
			}
		}
	}
}

// Without a limit the power spreads, and nothing is inferred.
func TestNothingIsInferredWithoutALimit(t *testing.T) {
	for seed := range uint64(200) {
		if l, err := InferLimit(scripted.Play(2*time.Minute, capped(seed, 1000))); !errors.Is(err, ErrNoFlatTop) {
			t.Errorf("seed %d: %v, %v", seed, l, err)
		}
	}
}

// Half of the busy seconds at the top are a limit, fewer are none, and it is said how
// many there were.
func TestHalfOfTheSecondsMakeATop(t *testing.T) {
	top := func(seconds int) func(time.Duration) scripted.State {
		return func(t time.Duration) scripted.State {
			s := scripted.OnBattery(t)
			s.Busy = 0.9
			if s.Watts = 25; int(t.Seconds()) >= seconds {
				s.Watts = 10 + 0.1*math.Floor(t.Seconds()) // up to 22 W
			}
			return s
		}
	}
	l, err := InferLimit(scripted.Play(119*time.Second, top(60)))
	if err != nil || l.Watts != 25 || l.Seconds != 60 || l.BusySeconds != 120 {
		t.Errorf("60 of 120: %+v, %v", l, err)
	}
	_, err = InferLimit(scripted.Play(119*time.Second, top(59)))
	if !errors.Is(err, ErrNoFlatTop) || !strings.Contains(err.Error(), "only 59 of 120 busy seconds were within 2 % of the highest power, 25.0 W") {
		t.Errorf("59 of 120: %v", err)
	}
}

func TestInferredFromDischargeOnBatteryAlone(t *testing.T) {
	hidden := func(mains bool) func(time.Duration) scripted.State {
		f := capped(1, 18)
		return func(d time.Duration) scripted.State {
			s := f(d)
			s.Watts, s.Joules = nan, nan
			if mains {
				s.Online, s.Power, s.Direction = 1, -20, -1
			}
			return s
		}
	}
	l, err := InferLimit(scripted.Play(2*time.Minute, hidden(false)))
	if err != nil || math.Abs(l.Watts-24) > 0.1 || l.From != "system_w" || !strings.Contains(l.String(), "inferred: the discharge of the whole device was flat") {
		t.Errorf("on battery: %v, %v", l, err)
	}
	if l, err := InferLimit(scripted.Play(2*time.Minute, hidden(true))); !errors.Is(err, ErrNoFlatTop) {
		t.Errorf("charging: %v, %v", l, err)
	}
}

func TestTooLittleToInferFrom(t *testing.T) {
	_, err := InferLimit(scripted.Play(20*time.Second, capped(1, 18)))
	if !errors.Is(err, ErrNoFlatTop) || !strings.Contains(err.Error(), "at least 30 are needed") {
		t.Errorf("20 s: %v", err)
	}
	if _, err := InferLimit(&scripted.Trace{Of: scripted.Sensors}); !errors.Is(err, ErrNoFlatTop) {
		t.Errorf("no sweeps: %v", err)
	}
}
