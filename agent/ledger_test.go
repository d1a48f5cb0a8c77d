package agent

import (
	"math"
	"testing"
	"time"

	"sweepd/judge"
	"sweepd/run"
)

// Between idle sweeps an hour apart nobody knows what a power did, while a counter
// lost nothing; up to a minute, the longest interval of a run, it is taken to run
// straight.
func TestEnergyOverALongTime(t *testing.T) {
	power := run.Sensor{ID: run.CorePower, Unit: "watts"}
	counter := run.Sensor{ID: run.PackageEnergy, Unit: "joules", Kind: run.Counter}
	index := judge.NewSensorIndex([]run.Sensor{power, counter})
	for _, c := range []struct {
		dt    time.Duration
		known bool
	}{{time.Second, true}, {MaxInterval, true}, {70 * time.Second, false}, {time.Hour, false}} {
		var l ledger
		l.under(run.Labels{Device: "unit-oak"}, "", 0)
		l.add(&index, nil, []float64{10, 100}, 0, 0, 10, 10)
		l.add(&index, []float64{10, 100}, []float64{20, 400}, c.dt, c.dt, 10, 20)
		e := l.current
		if !e.Known[DomainPackage] || e.Joules[DomainPackage] != 300 {
			t.Errorf("%v: the counter rose by 300 J, counted %v, known %v", c.dt, e.Joules[DomainPackage], e.Known[DomainPackage])
		}
		want := 0.0
		if c.known {
			want = 15 * c.dt.Seconds()
		}
		for _, d := range []Domain{DomainCore, DomainBattery} {
			if e.Known[d] != c.known || math.Abs(e.Joules[d]-want) > 1e-9 {
				t.Errorf("%v: %s %v J, known %v; want %v, %v", c.dt, d, e.Joules[d], e.Known[d], want, c.known)
			}
		}
	}
}

// A counter that leaps by 50 kJ, or falls, counts nothing in that quarter of a second but
// what the powers tell, and afterwards goes on as before.
func TestEnergyDoesNotLeap(t *testing.T) {
	const quarter = 250 * time.Millisecond
	power := run.Sensor{ID: run.PackagePower, Instance: "p", Unit: "watts"}
	counter := run.Sensor{ID: run.PackageEnergy, Instance: "p", Unit: "joules", Kind: run.Counter}
	index := judge.NewSensorIndex([]run.Sensor{power, counter})
	for _, leap := range []float64{50_000, -50_000, 400} {
		for _, known := range []bool{true, false} {
			var l ledger
			l.under(run.Labels{Device: "unit-oak"}, "", 0)
			var prev []float64
			joules := 60_000.0
			for i := range 40 {
				joules += 5.5
				values := []float64{22, joules}
				if i == 20 {
					joules += leap
					values[1] = joules
					if !known {
						values[0] = math.NaN()
					}
				}
				l.add(&index, prev, values, quarter, time.Duration(i)*quarter, math.NaN(), math.NaN())
				prev = values
			}
			want := 38 * 5.5
			if known {
				want += 5.5
			}
			if got := l.current.Joules[DomainPackage]; math.Abs(got-want) > 1e-6 {
				t.Errorf("a step of %v J: %v J counted, want %v", leap, got, want)
			}
		}
	}
}
