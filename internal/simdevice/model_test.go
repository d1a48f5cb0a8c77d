package simdevice

import (
	"math"
	"testing"
	"time"
)

func plain(t testing.TB, cfg Config) *Device {
	t.Helper()
	d, err := New("", cfg, day)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

// mean advances a span and returns its true means.
func mean(d *Device, span time.Duration) Means {
	before := d.Truth()
	d.Advance(span)
	return Between(before, d.Truth())
}

// TestLimitFloorAndCap: unit-oak ignores settings below 7 W, unit-elm those
// above 40 W, both obey between; the setting shown is what was set.
func TestLimitFloorAndCap(t *testing.T) {
	for _, c := range []struct {
		name       string
		cfg        Config
		set, watts float64
	}{
		{"oak below its floor", UnitOak(), 5, 7},
		{"oak at 15 W", UnitOak(), 15, 15},
		{"oak at 40 W", UnitOak(), 40, 40},
		{"elm at 5 W", UnitElm(), 5, 5},
		{"elm above its cap", UnitElm(), 50, 40},
	} {
		d := plain(t, c.cfg)
		d.Plug()
		d.SetLimit(c.set)
		d.StartWorkload(HarbourFlight())
		d.Advance(5 * time.Second)
		got := mean(d, time.Minute).PackageW
		if math.Abs(got-c.watts) > 0.01*c.watts {
			t.Errorf("%s: the package takes %.3f W, want %v", c.name, got, c.watts)
		}
		if shown := d.Truth().SettingW; shown != c.set {
			t.Errorf("%s: the setting is %v, was set to %v", c.name, shown, c.set)
		}
	}
}

// TestDemandLimits: what the workload does not ask for is not spent.
func TestDemandLimits(t *testing.T) {
	d := plain(t, UnitOak())
	d.SetLimit(30)
	d.StartWorkload(Workload{Name: "light", DemandW: 12})
	d.Advance(time.Minute)
	if got := mean(d, time.Minute).PackageW; math.Abs(got-12) > 0.5 {
		t.Errorf("a workload that asks for 12 W takes %.2f W", got)
	}
	d.StopWorkload()
	d.Advance(time.Minute)
	if got := mean(d, time.Minute).PackageW; got > 2.2 || got < 1 {
		t.Errorf("at rest the package takes %.2f W", got)
	}
}

func TestDisobeyLimit(t *testing.T) {
	d := plain(t, UnitOak())
	d.SetLimit(15)
	d.DisobeyLimit(23)
	d.StartWorkload(HarbourFlight())
	d.Advance(5 * time.Second)
	near(t, "disobeyed limit", mean(d, time.Minute).PackageW, 23, 0.01)
	d.DisobeyLimit(0)
	d.Advance(5 * time.Second)
	near(t, "obeyed limit", mean(d, time.Minute).PackageW, 15, 0.01)
}

// TestBoost: with a short-term excess, the running mean ends at the setting.
func TestBoost(t *testing.T) {
	cfg := UnitOak()
	cfg.BoostRatio, cfg.BoostTime = 0.3, 5*time.Second
	d := plain(t, cfg)
	d.SetLimit(20)
	d.StartWorkload(HarbourFlight())
	if first := mean(d, 2*time.Second).PackageW; first < 22 {
		t.Errorf("in the first seconds the package takes %.2f W, want more than the setting of 20", first)
	}
	d.Advance(time.Minute)
	near(t, "later mean", mean(d, time.Minute).PackageW, 20, 0.03)
}

// TestSystemIsOverheadPlusSlope: overhead 4.6 W and 1.15 W for each watt of the
// package, as unit-oak is configured.
func TestSystemIsOverheadPlusSlope(t *testing.T) {
	for _, watts := range []float64{8, 15, 30, 45} {
		d := plain(t, UnitOak())
		d.SetLimit(watts)
		d.StartWorkload(HarbourFlight())
		m := mean(d, 10*time.Minute)
		near(t, "system power", m.SystemW, 4.6+1.15*m.PackageW, 0.004)
		near(t, "discharge", m.DischargeW, m.SystemW, 1e-9)
	}
}

// TestEnergyBalance: mains in + battery out = system + battery in + charging
// loss, and a battery loses what leaves it, whatever happens to the device.
func TestEnergyBalance(t *testing.T) {
	cfg := UnitOak()
	cfg.Batteries = append(cfg.Batteries, BatteryConfig{FullWh: 20, Charge: 0.4})
	cfg.Batteries[0].Charge = 0.5
	d := plain(t, cfg)
	begin := d.Truth()
	d.SetLimit(30)
	d.StartWorkload(HarbourFlight())
	d.Advance(7*time.Minute + 13*time.Millisecond)
	d.Plug()
	d.Advance(11*time.Minute + 7*time.Millisecond)
	d.SetCharger(20) // too weak for the load
	d.Advance(5 * time.Minute)
	d.StopWorkload()
	d.SetCharger(65)
	d.Suspend(3 * time.Minute)
	d.Advance(4 * time.Hour)
	end := d.Truth()
	near(t, "energy in", end.MainsJ+end.DischargedJ, end.SystemJ+end.ChargedJ+end.ChargeLossJ, 1e-9)
	near(t, "content", end.ContentJ, begin.ContentJ-end.BatteryNetJ, 1e-9)
	near(t, "charging", end.ChargedJ, 0.9*(end.ChargedJ+end.ChargeLossJ), 1e-9)
	near(t, "parts of the package", end.CPUJ+end.GPUJ+end.LeakageJ, end.PackageJ, 1e-9)
	if end.ChargeRatio < 0.999 {
		t.Errorf("after four hours on mains the charge is %v, want full", end.ChargeRatio)
	}
	if end.DischargedJ < 1000 || end.ChargedJ < 1000 {
		t.Errorf("hardly anything flowed: %v J out, %v J in", end.DischargedJ, end.ChargedJ)
	}
}

func TestWeakChargerDrainsBattery(t *testing.T) {
	d := plain(t, UnitOak())
	d.Plug()
	d.SetCharger(20)
	d.SetLimit(30)
	d.StartWorkload(HarbourFlight())
	d.Advance(5 * time.Second)
	m := mean(d, time.Minute)
	near(t, "mains power", m.MainsW, 20, 1e-9)
	near(t, "discharge", m.DischargeW, m.SystemW-20, 1e-9)
	if m.DischargeW < 10 {
		t.Errorf("discharge is %v W, want the load beyond 20 W", m.DischargeW)
	}
}

// TestChargeLimit: charging ends at the limit, and begins again 5 % below it.
func TestChargeLimit(t *testing.T) {
	d := plain(t, UnitOak())
	d.SetCharge(0.5)
	d.SetChargeLimit(0.8)
	d.Plug()
	d.Advance(3 * time.Hour)
	near(t, "charge", d.Truth().ChargeRatio, 0.8, 1e-9)
	near(t, "mains power at rest", d.Truth().MainsW, d.Truth().SystemW, 1e-12)
	d.SetCharge(0.77)
	d.Advance(time.Minute)
	if w := d.Truth().DischargeW; w != 0 {
		t.Errorf("between the thresholds the battery gives %v W, want rest", w)
	}
	d.SetCharge(0.7)
	d.Advance(time.Minute)
	if w := d.Truth().DischargeW; w > -5 {
		t.Errorf("below the lower threshold the battery gives %v W, want charging", w)
	}
}

// TestEmptyBattery: the device goes off, and comes back on mains only.
func TestEmptyBattery(t *testing.T) {
	d := plain(t, UnitOak())
	d.SetCharge(0.01)
	d.SetLimit(30)
	d.StartWorkload(HarbourFlight())
	d.Advance(10 * time.Minute)
	off := d.Truth()
	if !off.Off || off.SystemW != 0 || off.PackageW != 0 || off.ContentJ > 10 {
		t.Fatalf("with an empty battery: %+v", off)
	}
	d.Advance(time.Minute)
	if again := d.Truth(); !again.Off || again.SystemJ != off.SystemJ {
		t.Errorf("an empty device took %v J more", again.SystemJ-off.SystemJ)
	}
	d.Plug()
	d.Advance(time.Minute)
	if on := d.Truth(); on.Off || on.PackageW < 20 || on.ChargeRatio <= off.ChargeRatio {
		t.Errorf("back on mains: %+v", on)
	}
}

// TestThrottling: a blocked fan at a high setting makes the die reach its limit;
// power falls, the temperature stays, and events are counted.
func TestThrottling(t *testing.T) {
	d := plain(t, UnitOak())
	d.Plug()
	d.SetLimit(45)
	d.BlockFan(true)
	d.StartWorkload(HarbourFlight())
	d.Advance(10 * time.Minute)
	hot := d.Truth()
	if !hot.Throttling || hot.ThrottleCount == 0 || hot.PackageW > 40 {
		t.Fatalf("with a blocked fan: %+v", hot)
	}
	if math.Abs(hot.DieC-95) > 3 {
		t.Errorf("while throttling the die is at %.1f degrees, want near 95", hot.DieC)
	}
	d.BlockFan(false)
	d.Advance(10 * time.Minute)
	if cool := d.Truth(); cool.Throttling || math.Abs(cool.PackageW-45) > 1 {
		t.Errorf("with the fan back: throttling %v at %.1f W", cool.Throttling, cool.PackageW)
	}
}

// TestNoThrottlingByItself: both presets bear every setting at room temperature.
func TestNoThrottlingByItself(t *testing.T) {
	for _, cfg := range []Config{UnitOak(), UnitElm()} {
		d := plain(t, cfg)
		d.Plug()
		d.SetLimit(cfg.CapW)
		d.StartWorkload(HarbourFlight())
		d.Advance(30 * time.Minute)
		if got := d.Truth(); got.ThrottleCount != 0 {
			t.Errorf("%s throttles at %v W: %.1f degrees", cfg.Name, cfg.CapW, got.DieC)
		}
	}
}

func TestHeatTo(t *testing.T) {
	d := plain(t, UnitOak())
	rest := d.Truth().DieC
	d.HeatTo(70)
	near(t, "die", d.Truth().DieC, 70, 1e-9)
	d.Advance(time.Hour)
	near(t, "die after an hour of rest", d.Truth().DieC, rest, 0.03)
}

// TestBatteryShares: two batteries share the load; one that is pulled leaves it
// to the other.
func TestBatteryShares(t *testing.T) {
	cfg := UnitOak()
	cfg.Batteries = append(cfg.Batteries, BatteryConfig{FullWh: 24.3})
	d := plain(t, cfg)
	d.StartWorkload(HarbourFlight())
	d.Advance(time.Minute)
	packs := d.model.packs
	near(t, "share of the small one", packs[1].powerW, packs[0].powerW/2, 1e-9)
	if err := d.PullBattery("BAT0"); err != nil {
		t.Fatal(err)
	}
	d.Advance(time.Minute)
	near(t, "load of the one that is left", packs[1].powerW, d.Truth().SystemW, 1e-9)
	if packs[0].powerW != 0 {
		t.Errorf("the pulled battery gives %v W", packs[0].powerW)
	}
	if err := d.PullBattery("BAT7"); err == nil {
		t.Error("no error for a battery that does not exist")
	}
}

// TestSuspend: standby power, no progress, no CPU time.
func TestSuspend(t *testing.T) {
	d := plain(t, UnitOak())
	d.StartWorkload(HarbourFlight())
	d.Advance(time.Minute)
	before, idle := d.Truth(), d.model.cpu.idle[0]
	d.Suspend(10 * time.Minute)
	m := Between(before, d.Truth())
	near(t, "standby power", m.SystemW, 0.4, 1e-6)
	near(t, "length", m.Seconds, 600, 1e-12)
	if d.model.cpu.idle[0] != idle {
		t.Error("CPU time went on in suspend")
	}
}

// TestDeterminism: equal seeds give equal days however time is cut; another seed
// gives another day.
func TestDeterminism(t *testing.T) {
	run := func(seed uint64, step time.Duration) (Truth, Played) {
		cfg := UnitElm()
		cfg.Seed = seed
		d := plain(t, cfg)
		d.StartWorkload(HarbourFlight())
		for end := day.Add(63 * time.Second); d.Now().Before(end); {
			d.Advance(min(step, end.Sub(d.Now())))
		}
		p, _ := d.StopWorkload()
		return d.Truth(), p
	}
	a, playedA := run(7, 250*time.Millisecond)
	b, playedB := run(7, 250*time.Millisecond)
	if a != b || playedA.Value != playedB.Value {
		t.Error("the same seed gave two different days")
	}
	c, playedC := run(7, 37*time.Millisecond)
	near(t, "package energy in steps of 37 ms", c.PackageJ, a.PackageJ, 1e-12)
	near(t, "system energy in steps of 37 ms", c.SystemJ, a.SystemJ, 1e-12)
	near(t, "result in steps of 37 ms", playedC.Value, playedA.Value, 1e-12)
	if other, _ := run(8, 250*time.Millisecond); other.PackageJ == a.PackageJ {
		t.Error("another seed gave the same day")
	}
}

// TestTrapezoid: what an agent integrates from 250 ms samples of a fluctuating
// load agrees with the model's energy. The mean of the values of time steps at their ends is
// compared with the integral, so the tolerance is the sampling error.
func TestTrapezoid(t *testing.T) {
	d := plain(t, UnitOak())
	d.SetLimit(40)
	d.StartWorkload(Workload{DemandW: 30, Load: Load{Fluctuation: 0.2, TimeScale: 3 * time.Second}})
	d.Advance(5 * time.Second)
	before := d.Truth()
	last, sum := before.PackageW, 0.0
	for range 1200 {
		d.Advance(250 * time.Millisecond)
		now := d.Truth().PackageW
		sum += 0.25 * (last + now) / 2
		last = now
	}
	near(t, "trapezoid of power", sum, d.Truth().PackageJ-before.PackageJ, 0.003)
}

func TestBadConfigs(t *testing.T) {
	for name, cfg := range map[string]Config{
		"floor above cap":        {FloorW: 50, CapW: 20},
		"too many CPUs":          {CPUs: 65},
		"more than full":         {Batteries: []BatteryConfig{{Charge: 1.2}}},
		"two of one name":        {Batteries: []BatteryConfig{{Name: "BAT0"}, {Name: "BAT0"}}},
		"fan full before start":  {FanStartC: 60, FanFullC: 50},
		"idle below leakage":     {IdleW: 0.3, LeakW: 0.5},
		"charge limit above one": {ChargeStop: 1.5},
	} {
		if _, err := New("", cfg, day); err == nil {
			t.Errorf("%s: no error", name)
		}
	}
	if _, err := New("", Config{}, day); err != nil {
		t.Errorf("the zero configuration: %v", err)
	}
}
