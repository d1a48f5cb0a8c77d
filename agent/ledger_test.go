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
