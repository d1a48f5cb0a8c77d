package judge

import (
	"math"
	"testing"
	"time"
)

// Where the latest idle sweeps do not tell how a device cools, nothing is claimed.
func TestCooling(t *testing.T) {
	course := func(every time.Duration, list ...float64) (*Baseline, time.Duration) {
		b := idle(60, 0, func(int) []float64 { return []float64{40, nan} })
		index := NewSensorIndex(twoTemperatures)
		now := time.Hour
		for _, x := range list {
			now += every
			b.Observe(&index, []float64{x, nan}, now)
		}
		return b, now
	}
	exact := func(from, tau float64, every time.Duration, n int) (list []float64) {
		for i := range n {
			list = append(list, 40+from*math.Exp(-float64(i)*every.Seconds()/tau))
		}
		return list
	}
	rounded := exact(30, 120, 10*time.Second, 8)
	for i, x := range rounded {
		rounded[i] = math.Round(x)
	}
	for _, c := range []struct {
		name  string
		every time.Duration
		list  []float64
		want  float64 // s, until 50 °C, NaN: not told
		tol   float64
	}{
		{"exponential, each 10 s", 10 * time.Second, exact(30, 120, 10*time.Second, 8), 120*math.Log(3) - 70, 1},
		{"exponential, each 2 s", 2 * time.Second, exact(30, 60, 2*time.Second, 12), 60*math.Log(3) - 22, 1},
		{"in whole degrees", 10 * time.Second, rounded, 120*math.Log(3) - 70, 15},
		{"a long way back it was still loaded", 10 * time.Second, append([]float64{62, 63, 62}, exact(30, 120, 10*time.Second, 8)...), 120*math.Log(3) - 70, 1},
		{"four sweeps", 10 * time.Second, exact(30, 120, 10*time.Second, 4), nan, 0},
		{"the first is of a die under load", 2 * time.Second, append([]float64{90}, exact(30, 60, 2*time.Second, 10)...), 60*math.Log(3) - 18, 3},
		{"five within 8 s", 2 * time.Second, exact(30, 120, 2*time.Second, 5), nan, 0},
		{"it does not fall", 10 * time.Second, []float64{60, 60, 60, 60, 60}, nan, 0},
		{"it rises", 10 * time.Second, []float64{55, 57, 59, 61}, nan, 0},
		{"it goes up and down", 10 * time.Second, []float64{60, 60.9, 60.1, 60.8, 60, 60.9}, nan, 0},
		{"it is there", 10 * time.Second, []float64{58, 56, 54, 52, 50}, 0, 1e-6},
		{"a sensor that is missing", 10 * time.Second, []float64{nan, nan, nan}, nan, 0},
	} {
		b, now := course(c.every, c.list...)
		got := b.cooling("package", 50, now)
		if !(math.Abs(got-c.want) <= c.tol) && !(math.IsNaN(got) && math.IsNaN(c.want)) {
			t.Errorf("%s: %v s, want %v", c.name, got, c.want)
		}
	}
	b, now := course(10*time.Second, exact(30, 120, 10*time.Second, 8)...)
	for what, got := range map[string]float64{
		"no such sensor": b.cooling("nvme", 50, now), "a target that idle does not reach": b.cooling("package", 39, now),
		"long after": b.cooling("package", 50, now+coolingWindow+time.Second),
	} {
		if !math.IsNaN(got) {
			t.Errorf("%s: %v s", what, got)
		}
	}
}
