package simdevice

import (
	"math"
	"testing"
	"time"
)

// TestRefresh: the battery's files change together, once a second and not in
// between, while the package's counter changes with every sweep.
func TestRefresh(t *testing.T) {
	cfg := UnitElm() // rounds to 1 mWh, so that the content changes with every refresh
	d := newDevice(t, cfg)
	d.SetLimit(30)
	d.StartWorkload(HarbourFlight())
	pass(t, d, 3*time.Second)
	bat := "sys/class/power_supply/BAT0/"
	type values struct{ power, energy int64 }
	look := func() values { return values{readInt(t, d, bat+"power_now"), readInt(t, d, bat+"energy_now")} }
	last, lastAt, counter := look(), time.Duration(0), int64(0)
	var changes []time.Duration
	for at := timeStep; at <= 20*time.Second; at += timeStep {
		d.Advance(timeStep)
		if err := d.Flush(); err != nil {
			t.Fatal(err)
		}
		if now := look(); now != last {
			if now.power == last.power || now.energy == last.energy {
				t.Errorf("at %v only one of power and energy changed: %+v, %+v", at, last, now)
			}
			if len(changes) > 0 && at-lastAt != time.Second {
				t.Errorf("values changed after %v, want 1 s", at-lastAt)
			}
			changes, last, lastAt = append(changes, at), now, at
		}
		now := readInt(t, d, "sys/class/powercap/sim-power:0/energy_uj")
		if now == counter {
			t.Errorf("at %v the package's counter stands still", at)
		}
		counter = now
	}
	if len(changes) != 20 {
		t.Errorf("%d refreshes in 20 s", len(changes))
	}
}

// TestQuantum: the content is rounded to 10 mWh, within half of it of the truth.
func TestQuantum(t *testing.T) {
	for _, quantum := range []float64{0.01, 0.001} {
		cfg := UnitOak()
		cfg.Batteries[0].QuantumWh = quantum
		d := newDevice(t, cfg)
		d.StartWorkload(HarbourFlight())
		for range 300 {
			d.Advance(timeStep)
			g := &d.model.packs[0].gauge
			if err := d.Flush(); err != nil {
				t.Fatal(err)
			}
			shown := readInt(t, d, "sys/class/power_supply/BAT0/energy_now")
			if shown%int64(quantum*1e6) != 0 {
				t.Fatalf("energy_now is %d µWh, no multiple of %v Wh", shown, quantum)
			}
			if g.seconds == 0 { // refreshed just now
				if truth := d.Truth().ContentJ / 3600; math.Abs(float64(shown)/1e6-truth) > quantum/2+1e-9 {
					t.Errorf("energy_now is %d µWh, the truth %v Wh", shown, truth)
				}
			}
		}
	}
}

// TestRateIsMeanSinceRefresh: without noise, the rate shown times its second is
// the energy that left the battery.
func TestRateIsMeanSinceRefresh(t *testing.T) {
	cfg := UnitOak()
	cfg.Batteries[0].GaugeNoise = -1
	d := plain(t, cfg)
	d.StartWorkload(Workload{DemandW: 20, Load: Load{Fluctuation: 0.3, TimeScale: time.Second}})
	b := d.model.packs[0]
	before, refreshes, next := 0.0, 0, b.gauge.next
	for range 400 {
		d.Advance(timeStep)
		if b.gauge.next == next {
			continue
		}
		if refreshes > 0 {
			near(t, "rate over one refresh, W", float64(b.gauge.shown.rate)/1e6, b.outJ-before, 1e-4)
		}
		refreshes++
		before, next = b.outJ, b.gauge.next
	}
	if refreshes < 19 {
		t.Errorf("%d refreshes in 20 s, one a second is wanted", refreshes)
	}
}

// TestGaugeNoise: 400 rate readings of a steady load spread by the configured
// ratio around the truth.
func TestGaugeNoise(t *testing.T) {
	cfg := Config{RippleRatio: -1, OverheadRipple: -1, Batteries: []BatteryConfig{{FullWh: 90, GaugeNoise: 0.01}}}
	d := plain(t, cfg)
	d.StartWorkload(Workload{})
	d.Advance(10 * time.Second)
	truth := d.Truth().SystemW
	const n = 400
	sum, square := 0.0, 0.0
	for range n {
		d.Advance(time.Second)
		x := float64(d.model.packs[0].gauge.shown.rate)/1e6/truth - 1
		sum, square = sum+x, square+x*x
	}
	near(t, "sd of the readings", math.Sqrt(square/n), 0.01, 4/math.Sqrt(2*n))
	if mean := sum / n; math.Abs(mean) > 4*0.01/math.Sqrt(n) {
		t.Errorf("the readings are off by %v in the mean", mean)
	}
}

// TestChargeReporting: current times voltage is the power, charge times voltage
// change the energy; the sign is negative while discharging where so configured.
func TestChargeReporting(t *testing.T) {
	cfg := UnitOak()
	cfg.Batteries[0].ReportsCharge, cfg.Batteries[0].Negative, cfg.Batteries[0].GaugeNoise = true, true, -1
	cfg.Batteries[0].QuantumWh = 0.001
	d := newDevice(t, cfg)
	bat := "sys/class/power_supply/BAT0/"
	d.SetLimit(20)
	d.StartWorkload(HarbourFlight())
	pass(t, d, 10*time.Second)
	begin, from := readInt(t, d, bat+"charge_now"), d.Truth()
	pass(t, d, 10*time.Minute)
	if charge := readInt(t, d, bat+"charge_now"); charge%100 != 0 {
		t.Errorf("charge_now is %d µAh, no multiple of 0.1 mAh", charge)
	}
	amps, volts := float64(readInt(t, d, bat+"current_now"))/1e6, float64(readInt(t, d, bat+"voltage_now"))/1e6
	if amps >= 0 {
		t.Errorf("while discharging current_now is %v A, want a negative one", amps)
	}
	near(t, "power", -amps*volts, d.Truth().SystemW, 0.03)
	wh := float64(begin-readInt(t, d, bat+"charge_now")) / 1e6 * volts
	near(t, "energy from charge", wh, (d.Truth().DischargedJ-from.DischargedJ)/3600, 0.01)
	d.Plug()
	pass(t, d, 3*time.Second)
	if amps := readInt(t, d, bat+"current_now"); amps <= 0 {
		t.Errorf("while charging current_now is %v µA, want a positive one", amps)
	}
	if got := read(t, d, bat+"status"); got != "Charging" {
		t.Errorf("status is %q", got)
	}
}

// TestStatusTexts: each text where the kernel would print it.
func TestStatusTexts(t *testing.T) {
	d := newDevice(t, UnitOak())
	expect := func(want string) {
		t.Helper()
		pass(t, d, 2*time.Second)
		if got := read(t, d, "sys/class/power_supply/BAT0/status"); got != want {
			t.Errorf("status is %q, want %q", got, want)
		}
	}
	expect("Discharging")
	d.Plug()
	expect("Charging")
	d.SetChargeLimit(0.8)
	d.SetCharge(0.8)
	expect("Not charging")
	d.SetChargeLimit(1)
	d.SetCharge(1)
	expect("Full")
	d.SetCharge(0.5)
	d.SetCharger(5)
	d.StartWorkload(HarbourFlight())
	expect("Discharging")
}

// TestLevelWords: the word of the level follows the charge. The words are those of
// the kernel (Documentation/ABI/testing/sysfs-class-power); from which charge on
// each is used differs by firmware, 3 % and 10 % are this model's own.
func TestLevelWords(t *testing.T) {
	d := newDevice(t, UnitOak())
	bat := "sys/class/power_supply/BAT0/"
	for _, c := range []struct {
		charge float64
		want   string
	}{
		{0.02, "Critical"},
		{0.06, "Low"},
		{0.09, "Low"},
		{0.13, "Normal"},
		{0.5, "Normal"},
		{0.97, "Normal"},
	} {
		d.SetCharge(c.charge)
		pass(t, d, 2*time.Second)
		if got := read(t, d, bat+"capacity_level"); got != c.want {
			t.Errorf("at %s %% the level is %q, want %q", read(t, d, bat+"capacity"), got, c.want)
		}
	}
	d.Plug()
	d.SetCharge(1)
	pass(t, d, 2*time.Second)
	if got := read(t, d, bat+"capacity_level"); got != "Full" {
		t.Errorf("the level of a full battery is %q", got)
	}
	for percent, want := range map[int64]string{3: "Critical", 4: "Low", 10: "Low", 11: "Normal"} {
		if got := (&shown{status: "Discharging", percent: percent}).level(); got != want {
			t.Errorf("at %d %% the level is %q, want %q", percent, got, want)
		}
	}
}

// TestPlugLags: the adapter's file follows at once, the battery at its next
// refresh; either can be made later.
func TestPlugLags(t *testing.T) {
	online := "sys/class/power_supply/ADP0/online"
	status := "sys/class/power_supply/BAT0/status"
	measure := func(cfg Config) (adapter, battery time.Duration) {
		d := newDevice(t, cfg)
		pass(t, d, 5*time.Second)
		d.Plug()
		adapter, battery = -1, -1
		for at := time.Duration(0); at < 20*time.Second; at += timeStep {
			if err := d.Flush(); err != nil {
				t.Fatal(err)
			}
			if adapter < 0 && read(t, d, online) == "1" {
				adapter = at
			}
			if battery < 0 && read(t, d, status) == "Charging" {
				battery = at
			}
			d.Advance(timeStep)
		}
		return adapter, battery
	}
	if a, b := measure(Config{}); a != 0 || b < 0 || b > time.Second {
		t.Errorf("adapter after %v, battery after %v; want at once and within a second", a, b)
	}
	if a, b := measure(Config{OnlineLag: 3 * time.Second}); a != 3*time.Second || b > time.Second {
		t.Errorf("late adapter: after %v, battery after %v", a, b)
	}
	if a, b := measure(Config{StatusLag: 4 * time.Second}); a != 0 || b < 4*time.Second || b > 5*time.Second {
		t.Errorf("late battery: adapter after %v, battery after %v", a, b)
	}
}

// TestUSBSupply: the active type in brackets, currents and voltages when plugged.
func TestUSBSupply(t *testing.T) {
	d := newDevice(t, Config{Supply: SupplyUSB})
	port := "sys/class/power_supply/port0-source/"
	d.Plug()
	pass(t, d, 3*time.Second)
	if got := read(t, d, port+"usb_type"); got != "C [PD] PD_PPS" {
		t.Errorf("usb_type is %q", got)
	}
	near(t, "mains power", float64(readInt(t, d, port+"voltage_now"))*float64(readInt(t, d, port+"current_now"))/1e12, d.Truth().MainsW, 1e-4)
	near(t, "rating", float64(readInt(t, d, port+"current_max"))/1e6*20, 65, 1e-9)
}
