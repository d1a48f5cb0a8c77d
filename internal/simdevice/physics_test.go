package simdevice

import (
	"math"
	"testing"
	"testing/quick"
	"time"
)

// near fails when got is further from want than rel of want.
func near(t testing.TB, what string, got, want, rel float64) {
	t.Helper()
	if !(math.Abs(got-want) <= rel*math.Abs(want)) {
		t.Errorf("%s is %.12g, want %.12g (relative tolerance %g)", what, got, want, rel)
	}
}

// TestNewtonCooling checks the closed form T = Tend + (T0-Tend) e^(-t/tau) with
// the textbook case: from 90 towards 20 degrees, 60 after 10 minutes; then
// k = ln(7/4)/10, 42.857 after 20, and 35 is reached at 27.527 (closed form).
func TestNewtonCooling(t *testing.T) {
	const tau = 17.8694029289 // 1/k, minutes
	near(t, "tau", 10/math.Log(7.0/4), tau, 1e-11)
	// The same as a heat sink without power: capacity/conductance is the time constant, s.
	for _, c := range []struct{ minutes, celsius float64 }{{10, 60}, {20, 42.8571428571}, {27.5268331265, 35}} {
		sink := cooler{capacity: 90 * tau, passive: 1.5, ambientC: 20, sinkC: 90}
		sink.heat(0, time.Duration(c.minutes*60*1e9))
		near(t, "temperature", sink.sinkC, c.celsius, 1e-10)
	}
}

// TestHeatDoesNotDependOnCuts: one long interval equals many short ones, and the
// end is ambient + watts / conductance.
func TestHeatDoesNotDependOnCuts(t *testing.T) {
	start := cooler{capacity: 60, passive: 0.45, byFan: 0.75, fan: 0.4, ambientC: 22, sinkC: 30}
	once, often := start, start
	once.heat(25, 100*time.Second)
	for range 2000 {
		often.heat(25, 50*time.Millisecond)
	}
	near(t, "many steps", often.sinkC, once.sinkC, 1e-12)
	once.heat(25, time.Hour)
	near(t, "steady state", once.sinkC, 22+25/(0.45+0.75*0.4), 1e-12)
}

// TestCMOS: voltage and clock both at 0.8 give 0.8^3 = 0.512 of the power and
// 0.64 of the energy of a cycle (from the formula of Chandrakasan, Sheng &
// Brodersen 1992).
func TestCMOS(t *testing.T) {
	full, less := cmosWatts(0.3, 2e-9, 1.1, 3e9), cmosWatts(0.3, 2e-9, 0.88, 2.4e9)
	near(t, "power", less/full, 0.512, 1e-12)
	near(t, "energy of a cycle", (less/2.4)/(full/3), 0.64, 1e-12)
}

// TestClockInvertsPower: the clock that the table gives for a power needs that
// power, by the formula.
func TestClockInvertsPower(t *testing.T) {
	const v0 = 0.55
	table := newClockTable(v0)
	for share := 0.05; share <= 1; share += 0.01 {
		x := table.at(share)
		near(t, "power at the table's clock", cmosWatts(1, 1, v0+(1-v0)*x, x), share, 2e-3)
	}
	if table.at(0) != 0 || table.at(1) != 1 || table.at(7) != 1 {
		t.Errorf("ends of the table: %v %v %v", table.at(0), table.at(1), table.at(7))
	}
}

func TestLeakageGrowsByEOverItsScale(t *testing.T) {
	near(t, "leakage at the reference", leakWatts(0.5, 35, leakRefC), 0.5, 1e-12)
	near(t, "35 K warmer", leakWatts(0.5, 35, leakRefC+35), 0.5*math.E, 1e-12)
}

// TestBatteryCurrent: P = V I with the numbers of a captured battery, 12.229 V
// and 4.83 W (fixtures of the procfs module); with an inner resistance the
// terminal voltage times the current is still the power.
func TestBatteryCurrent(t *testing.T) {
	ideal := newBattery(BatteryConfig{FullWh: 50, Charge: 0.5, MinV: 12.228, MaxV: 12.230, Refresh: time.Second}, 1, 1)
	ideal.load(4.83)
	near(t, "current", ideal.amps, 0.394962793360, 1e-10)
	real := newBattery(BatteryConfig{FullWh: 50, Charge: 0.5, MinV: 10.8, MaxV: 12.9, Ohm: 0.1, Refresh: time.Second}, 1, 1)
	for _, watts := range []float64{30, 1, -25} {
		real.load(watts)
		near(t, "volts times amps", real.volts*real.amps, watts, 1e-12)
		near(t, "voltage drop", 11.85-real.volts, 0.1*real.amps, 1e-9)
	}
}

// TestChargeAndEnergy: discharged slowly from full to half, the coulombs counted
// are those of the integral of dE/V.
func TestChargeAndEnergy(t *testing.T) {
	b := newBattery(BatteryConfig{FullWh: 40, Charge: 1, MinV: 10.8, MaxV: 12.9, Refresh: time.Second}, 1, 1)
	for b.charge() > 0.5 {
		b.load(10)
		b.pass(time.Second)
	}
	near(t, "coulombs left", b.coulombs, b.coulombsAt(b.charge()), 1e-5)
	near(t, "energy given", b.outJ, b.fullJ-b.contentJ, 1e-9)
}

// TestSpeedup: Amdahl's example of a tenth serial work cannot gain more than ten.
func TestSpeedup(t *testing.T) {
	near(t, "one processor", speedup(0.9, 1), 1, 1e-12)
	near(t, "10 processors", speedup(0.9, 10), 1/0.19, 1e-12)
	near(t, "a million", speedup(0.9, 1e6), 10, 1e-4)
}

// TestWander: variance 1, and neighbours correlate by e^(-h/T).
func TestWander(t *testing.T) {
	rng := newRand(3, 1)
	var w wander
	w.x = rng.NormFloat64()
	const n, ratio = 200000, 0.5
	sum, square, product, last := 0.0, 0.0, 0.0, w.x
	for range n {
		x := w.step(rng, ratio)
		sum, square, product = sum+x, square+x*x, product+x*last
		last = x
	}
	// The effective number of values is about n/4, so these are six standard errors.
	if mean := sum / n; math.Abs(mean) > 0.027 {
		t.Errorf("mean is %v, want 0", mean)
	}
	if v := square / n; math.Abs(v-1) > 0.03 {
		t.Errorf("variance is %v, want 1", v)
	}
	if r := product / square; math.Abs(r-math.Exp(-ratio)) > 0.015 {
		t.Errorf("neighbours correlate by %v, want %v", r, math.Exp(-ratio))
	}
}

// TestRounding: the result is the nearest multiple.
func TestRounding(t *testing.T) {
	err := quick.Check(func(v int32, q uint16) bool {
		quantum := int64(q%1000) + 1
		got := roundTo(float64(v), float64(quantum))
		return got%quantum == 0 && math.Abs(float64(got)-float64(v)) <= float64(quantum)/2
	}, nil)
	if err != nil {
		t.Error(err)
	}
}
