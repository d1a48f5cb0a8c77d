package collectors

import (
	"math"
	"path/filepath"
	"slices"
	"strconv"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"sweepd/run"
)

// The battery and the adapter of the procfs capture. Energies are µWh times
// 3600/1e6; the charge is the worked example of ACPI 6.0 10.2.2.6 with the same
// numbers (49450 of 50060 mWh, 4830 mW): 98.7814622453 %.
func TestPowerSupplyCaptured(t *testing.T) {
	roots := capture(t, "sys/class/power_supply", "sys/devices/LNXSYSTM:00")
	wantReadings(t, NewPowerSupply(roots), map[string]float64{
		"battery_power_watts BAT0":          4.83,
		"battery_energy_joules BAT0":        178020,
		"battery_energy_full_joules BAT0":   50.06 * 3600,
		"battery_energy_design_joules BAT0": 47.52 * 3600,
		"battery_charge_ratio BAT0":         49450.0 / 50060,
		"battery_direction BAT0":            1,
		"battery_voltage_volts BAT0":        12.229,
		"supply_online AC":                  0,
	})
	r := readings(t, NewPowerSupply(roots))
	if got := 100 * r["battery_charge_ratio BAT0"].value; math.Abs(got-98.7814622453) > 1e-10 {
		t.Errorf("charge %.10f %%, want 98.7814622453 (ACPI 6.0 10.2.2.6)", got)
	}
	energy, power := r["battery_energy_joules BAT0"].value, r["battery_power_watts BAT0"].value
	if got := energy / power; math.Abs(got-36857.142857) > 1e-6 {
		t.Errorf("life %.6f s, want 36857.142857 (ACPI 6.0 10.2.2.6)", got)
	}
}

// folder is the path of a supply in a made tree.
const bat0 = "sys/class/power_supply/BAT0/"

// batteryOf makes a tree with one battery; files add to or replace the usual.
func batteryOf(t testing.TB, files map[string]string) (Roots, Probe, func() map[string]float64) {
	t.Helper()
	all := map[string]string{bat0 + "type": "Battery\n"}
	for name, content := range files {
		all[bat0+name] = content
	}
	roots := madeTree(t, all)
	offers, _ := NewPowerSupply(roots).Scan()
	if len(offers) != 1 {
		t.Fatalf("%d offers", len(offers))
	}
	p := opened(t, offers[0])
	return roots, p, func() map[string]float64 {
		t.Helper()
		dst := make([]float64, len(offers[0].Sensors))
		if err := p.Read(0, dst); err != nil {
			t.Fatal(err)
		}
		values := map[string]float64{}
		for i, s := range offers[0].Sensors {
			values[s.ID] = dst[i]
		}
		return values
	}
}

func wantValue(t *testing.T, got, want float64) {
	t.Helper()
	if math.IsNaN(got) != math.IsNaN(want) || math.Abs(got-want) > 1e-9*math.Abs(want) {
		t.Errorf("%v, want %v", got, want)
	}
}

// The class asks for a negative rate while discharging, the control-method
// driver prints a magnitude, and some gauges have it the other way round. The
// status decides, and where it is unknown what the sign was seen to mean.
func TestBatteryDirectionAndSign(t *testing.T) {
	type step struct {
		status, current  string
		direction, watts float64
	}
	for name, steps := range map[string][]step{
		"as the class asks": {
			{"Discharging", "-1250000", 1, 15}, {"Charging", "800000", -1, -9.6},
			{"Unknown", "-1250000", 1, 15}, {"Unknown", "800000", -1, -9.6}, {"Unknown", "0", 0, 0},
		},
		"a magnitude": {
			{"Discharging", "1250000", 1, 15}, {"Charging", "800000", -1, -9.6}, {"Unknown", "1250000", nan, nan},
		},
		"inverted": {
			{"Discharging", "1250000", 1, 15}, {"Charging", "-800000", -1, -9.6},
			{"Unknown", "1250000", 1, 15}, {"Unknown", "-800000", -1, -9.6},
		},
		"at rest": {
			{"Not charging", "0", 0, 0}, {"Full", "12000", 0, 0}, {"Full", "-12000", 0, 0},
		},
		"nothing known yet": {{"Unknown", "-1250000", 1, 15}, {"Unknown", "1250000", -1, -15}},
	} {
		t.Run(name, func(t *testing.T) {
			roots, _, read := batteryOf(t, map[string]string{"status": "", "current_now": "", "voltage_now": "12000000\n"})
			for _, s := range steps {
				rewrite(t, roots.sys("class", "power_supply", "BAT0", "status"), s.status+"\n")
				rewrite(t, roots.sys("class", "power_supply", "BAT0", "current_now"), s.current+"\n")
				got := read()
				wantValue(t, got[run.BatteryDirection], s.direction)
				wantValue(t, got[run.BatteryPower], s.watts)
				wantValue(t, got[run.BatteryCurrent], s.watts/12)
			}
		})
	}
}

// 5.2 Ah at 11.4 V are 59.28 Wh (charge times voltage, by hand); from there the
// energy falls by charge times the mean voltage.
func TestBatteryThatCountsCharge(t *testing.T) {
	roots, _, read := batteryOf(t, map[string]string{
		"status": "Discharging\n", "charge_now": "5200000\n", "charge_full": "5300000\n", "charge_full_design": "5500000\n",
		"voltage_now": "12400000\n", "voltage_min_design": "11400000\n", "current_now": "1000000\n",
	})
	set := func(file, content string) { rewrite(t, roots.sys("class", "power_supply", "BAT0", file), content+"\n") }
	got := read()
	wantValue(t, got[run.BatteryEnergy], 59.28*3600)
	wantValue(t, got[run.BatteryEnergyFull], 5.3*11.4*3600)
	wantValue(t, got[run.BatteryEnergyDesign], 5.5*11.4*3600)
	wantValue(t, got[run.BatteryCharge], 5.2/5.3)

	set("voltage_now", "12300000") // no charge flowed: the voltage alone changes nothing
	wantValue(t, read()[run.BatteryEnergy], 59.28*3600)

	set("charge_now", "5199000")
	set("voltage_now", "12200000")
	after := 59.28*3600 - 3.6*(12.4+12.2)/2
	wantValue(t, read()[run.BatteryEnergy], after)

	set("status", "Charging")
	set("charge_now", "5199500")
	after += 1.8 * 12.2
	wantValue(t, read()[run.BatteryEnergy], after)

	set("status", "Not charging")
	wantValue(t, read()[run.BatteryEnergy], after)

	set("status", "Discharging") // after charging: the error does not add up
	wantValue(t, read()[run.BatteryEnergy], 5.1995*11.4*3600)
}

// A whole discharge at 6 W from a source of 1 mAh steps: the fall of energy is
// what flowed, within half a percent, although the content is anchored to the
// nominal voltage. Truth by integration in the test.
func TestBatteryChargeFallIsTheEnergyThatFlowed(t *testing.T) {
	roots, _, read := batteryOf(t, map[string]string{
		"status": "Discharging\n", "charge_now": "4000000\n", "charge_full": "4000000\n", "voltage_now": "12600000\n", "voltage_min_design": "11400000\n",
	})
	dir := roots.sys("class", "power_supply", "BAT0")
	const watts = 6.0
	charge, first, last := 4.0*3600, 0.0, 0.0 // C
	for s := range 7200 {
		volts := 11.0 + 1.6*charge/(4*3600)
		charge -= watts / volts
		if s%10 != 0 { // the gauge refreshes every 10 s
			continue
		}
		rewrite(t, filepath.Join(dir, "charge_now"), strconv.Itoa(int(charge/3.6)*1000))
		rewrite(t, filepath.Join(dir, "voltage_now"), strconv.Itoa(int(volts*1e3)*1000))
		last = read()[run.BatteryEnergy]
		if first == 0 {
			first = last
		}
	}
	if got, want := first-last, watts*7190; math.Abs(got/want-1) > 0.002 {
		t.Errorf("the energy fell by %.0f J, %.0f J flowed", got, want)
	}
}

func TestBatteryWithoutNominalVoltage(t *testing.T) {
	_, _, read := batteryOf(t, map[string]string{"status": "Discharging\n", "charge_now": "1000000\n", "voltage_now": "12000000\n"})
	got := read()
	wantValue(t, got[run.BatteryEnergy], 12*3600)
	if _, offered := got[run.BatteryPower]; offered {
		t.Error("a power is offered where neither power nor current is reported")
	}
}

// power_now fails where the firmware does not know; current times voltage may.
func TestBatteryPowerFallsBack(t *testing.T) {
	roots, _, read := batteryOf(t, map[string]string{
		"status": "Discharging\n", "power_now": "n/a\n", "current_now": "500000\n", "voltage_now": "12000000\n",
	})
	wantValue(t, read()[run.BatteryPower], 6)
	rewrite(t, roots.sys("class", "power_supply", "BAT0", "power_now"), "7000000\n")
	wantValue(t, read()[run.BatteryPower], 7)

	_, _, read = batteryOf(t, map[string]string{"status": "Charging\n", "current_avg": "500000\n", "voltage_now": "12000000\n"})
	wantValue(t, read()[run.BatteryPower], -6)
}

// An unknown rate is missing while the rest of the battery is read; all bits
// set times the driver's unit (ACPI 6.0 10.2.2.6: 0xFFFFFFFF is unknown) is no
// rate.
func TestBatteryUnknownRateIsMissing(t *testing.T) {
	roots, p, _ := batteryOf(t, map[string]string{"status": "Discharging\n", "power_now": "4294967295000\n", "energy_now": "49450000\n"})
	dst := make([]float64, 3)
	err := p.Read(0, dst)
	wantValue(t, dst[0], nan)
	wantValue(t, dst[1], 178020)
	wantValue(t, dst[2], 1)
	want := &ReadError{Path: roots.sys("class", "power_supply", "BAT0", "power_now"), Text: "4294967295000", Want: microwatts.want, Believed: "-1000 to 1000 W"}
	if d := cmp.Diff(error(want), err); d != "" {
		t.Errorf("error (-want +got):\n%s", d)
	}
}

func TestBatteryChargeRatio(t *testing.T) {
	for name, c := range map[string]struct {
		files map[string]string
		want  float64
	}{
		"content over full":   {map[string]string{"energy_now": "25\n", "energy_full": "40\n", "capacity": "62\n"}, 0.625},
		"more than full":      {map[string]string{"energy_now": "41\n", "energy_full": "40\n", "capacity": "100\n"}, 1},
		"full is not known":   {map[string]string{"energy_now": "25\n", "energy_full": "0\n", "capacity": "62\n"}, 0.62},
		"only the percentage": {map[string]string{"capacity": "98\n"}, 0.98},
	} {
		_, _, read := batteryOf(t, c.files)
		if got := read()[run.BatteryCharge]; got != c.want {
			t.Errorf("%s: %v, want %v", name, got, c.want)
		}
	}
}

// An empty bay is missing without being a fault, and what is put in starts anew.
func TestBatteryNotPresent(t *testing.T) {
	roots, _, read := batteryOf(t, map[string]string{
		"present": "0\n", "status": "Discharging\n", "charge_now": "1000000\n", "voltage_now": "12000000\n", "voltage_min_design": "11000000\n", "temp": "-52\n",
	})
	for id, v := range read() {
		if v == v {
			t.Errorf("%s is %v in an empty bay", id, v)
		}
	}
	set := func(file, content string) { rewrite(t, roots.sys("class", "power_supply", "BAT0", file), content+"\n") }
	set("present", "1")
	wantValue(t, read()[run.BatteryEnergy], 11*3600)
	wantValue(t, read()[run.Temperature], -5.2)
	set("present", "0")
	read()
	set("present", "1")
	set("charge_now", "2000000")
	wantValue(t, read()[run.BatteryEnergy], 2*11*3600)
}

// Two batteries, two adapters, a wireless pad, an uninterruptible supply, and a
// pen whose battery is not this machine's.
func TestPowerSupplyFindsAllButPeripherals(t *testing.T) {
	supply := func(name, kind, online string, more ...string) map[string]string {
		files := map[string]string{"type": kind + "\n"}
		if online != "" {
			files["online"] = online + "\n"
		}
		for i := 0; i < len(more); i += 2 {
			files[more[i]] = more[i+1] + "\n"
		}
		return with("sys/class/power_supply/"+name+"/", files)
	}
	files := map[string]string{}
	for _, s := range []map[string]string{
		supply("BAT1", "Battery", "", "capacity", "50"),
		supply("BAT0", "Battery", "", "capacity", "60", "scope", "System"),
		supply("pen", "Battery", "1", "capacity", "70", "scope", "Device"),
		supply("AC0", "Mains", "0"), supply("AC1", "Mains", "1"),
		supply("pad", "Wireless", "1"), supply("ups", "UPS", "1"), supply("old-port", "USB_PD", "2"),
		supply("no-online", "Mains", ""), supply("mouse-dock", "USB", "1", "scope", "Device"),
	} {
		for path, content := range s {
			files[path] = content
		}
	}
	wantReadings(t, NewPowerSupply(madeTree(t, files)), map[string]float64{
		"battery_charge_ratio BAT0": 0.6, "battery_charge_ratio BAT1": 0.5,
		"supply_online AC0": 0, "supply_online AC1": 1, "supply_online pad": 1, "supply_online ups": 1, "supply_online old-port": 1,
	})
}

func TestPowerSupplyAbsences(t *testing.T) {
	roots := madeTree(t, map[string]string{"sys/class/power_supply/pen/type": "Battery\n", "sys/class/power_supply/pen/scope": "Device\n"})
	offers, absences := NewPowerSupply(roots).Scan()
	if len(offers) != 0 || len(absences) != 2 {
		t.Errorf("offers %v, absences %v; want none and two", offers, absences)
	}
}

// A port that charges with power delivery at 20 V and 3.25 A offers 65 W.
func TestSupplyLimitAndType(t *testing.T) {
	const port = "sys/class/power_supply/port0/"
	files := map[string]string{
		port + "type": "USB\n", port + "online": "1\n", port + "usb_type": "C [PD] PD_PPS\n",
		port + "voltage_max": "20000000\n", port + "current_max": "3250000\n",
		port + "voltage_now": "19850000\n", port + "current_now": "2100000\n",
	}
	usbType := func(word string) float64 { return float64(slices.Index(run.USBTypes, word)) }
	roots := madeTree(t, files)
	want := map[string]float64{
		"supply_online port0": 1, "supply_power_limit_watts port0": 65, "supply_voltage_volts port0": 19.85,
		"supply_current_amperes port0": 2.1, "supply_usb_type port0": usbType("PD"),
	}
	wantReadings(t, NewPowerSupply(roots), want)

	// Unplugged, the driver remembers; nothing is offered all the same.
	offers, _ := NewPowerSupply(roots).Scan()
	p, dst := opened(t, offers[0]), make([]float64, 5)
	for file, content := range map[string]string{"online": "0\n", "voltage_now": "0\n", "current_now": "0\n", "usb_type": "[C] PD PD_PPS\n"} {
		rewrite(t, roots.sys("class", "power_supply", "port0", file), content)
	}
	if err := p.Read(0, dst); err != nil {
		t.Error(err)
	}
	wantValues(t, dst, 0, nan, 0, 0, usbType("C"))
	// An older driver names the active type alone; a new one may say more than
	// we know.
	rewrite(t, roots.sys("class", "power_supply", "port0", "usb_type"), "PD\n")
	if err := p.Read(time.Second, dst); err != nil {
		t.Error(err)
	}
	wantValues(t, dst, 0, nan, 0, 0, usbType("PD"))
	rewrite(t, roots.sys("class", "power_supply", "port0", "usb_type"), "C [Fusion]\n")
	if err := p.Read(time.Second, dst); err == nil {
		t.Error("no error for an unknown type")
	}
	wantValues(t, dst, 0, nan, 0, 0, nan)
}
