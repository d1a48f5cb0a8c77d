package collectors

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"sweepd/run"
)

// Text that no portable computer's file can hold is refused with the text as read:
// the reading is missing, the others of the machine are not, and it is counted.
func TestReadingsBeyondPhysicsAreRefused(t *testing.T) {
	const chip = "sys/class/hwmon/hwmon0/"
	battery := with(bat0, map[string]string{"type": "Battery\n", "status": "Discharging\n", "energy_now": "49450000\n", "energy_full": "50060000\n",
		"power_now": "21700000\n", "voltage_now": "12229000\n", "current_now": "1770000\n", "temp": "310\n"})
	board := with(chip, map[string]string{"name": "board\n", "temp1_input": "45000\n", "power1_input": "15000000\n", "in1_input": "1100\n", "curr1_input": "9000\n", "fan1_input": "3200\n"})
	clock := map[string]string{"sys/devices/system/cpu/cpufreq/policy0/scaling_cur_freq": "1219917\n"}
	sound := merged(battery, board, clock)
	for _, c := range []struct{ file, text, sensor, believed string }{
		{bat0 + "power_now", "500000000000", "battery_power_watts BAT0", "-1000 to 1000 W"},                                                 // 500 kW
		{bat0 + "current_now", "-1000000000000000", "battery_current_amperes BAT0", "-500 to 500 A"},                                        // -1e9 A
		{bat0 + "voltage_now", "-1", "battery_voltage_volts BAT0", "0 (exclusive) to 100 V"},                                                // no battery is reversed
		{bat0 + "energy_now", "1000000001", "battery_energy_joules BAT0", "0 to 1 kWh"},                                                     // 1 µWh more
		{bat0 + "energy_now", "99999999999999999999", "battery_energy_joules BAT0", "0 to 1 kWh"},                                           // more than 64 bits
		{bat0 + "temp", "10000000", "temperature_celsius BAT0", "-60 to 200 °C"},                                                            // 1e6 °C
		{chip + "temp1_input", "-274000", "temperature_celsius board/temp1", "-60 to 200 °C"},                                               // below 0 K
		{chip + "power1_input", "500000000000", "power_watts board/power1", "-1000 to 1000 W"},                                              //
		{chip + "curr1_input", "-1000000000000", "current_amperes board/curr1", "-500 to 500 A"},                                            //
		{chip + "in1_input", "100001", "voltage_volts board/in1", "-100 to 100 V"},                                                          //
		{chip + "fan1_input", "60001", "fan_speed_hertz board/fan1", "0 to 1000 Hz"},                                                        //
		{chip + "fan1_input", "-1", "fan_speed_hertz board/fan1", "0 to 1000 Hz"},                                                           //
		{"sys/devices/system/cpu/cpufreq/policy0/scaling_cur_freq", "4300000000", "cpu_frequency_hertz policy0", "0 (exclusive) to 20 GHz"}, // 4.3 THz
		{bat0 + "power_now", "nan", "battery_power_watts BAT0", ""},
		{chip + "power1_input", "1e9", "power_watts board/power1", ""},
	} {
		t.Run(c.sensor+" "+c.text, func(t *testing.T) {
			files := merged(sound, map[string]string{c.file: c.text + "\n"})
			if strings.HasPrefix(c.sensor, "battery_power") { // nor is it worked out from others
				delete(files, bat0+"current_now")
			}
			roots := madeTree(t, files)
			var told []string
			s := NewSet(SetOptions{OnError: func(_ string, _ run.Sensor, err error) { told = append(told, err.Error()) }},
				NewPowerSupply(roots), NewHwmon(roots), NewCPUFreq(roots))
			defer s.Close()
			s.ReadSlow(0)
			missing := 0
			for i, v := range s.Sweep(0) {
				if !math.IsNaN(v) {
					continue
				}
				missing++
				if is := s.Sensors()[i]; is.ID+" "+is.Instance != c.sensor && is.ID != run.BatteryCharge {
					t.Errorf("%s is missing, too", is)
				}
			}
			if missing == 0 {
				t.Errorf("nothing is missing")
			}
			want := fmt.Sprintf("refused: %q read from %s is beyond %s", c.text, roots.Sys+strings.TrimPrefix(c.file, "sys"), c.believed)
			if c.believed == "" {
				want = fmt.Sprintf("got %q, want an integer", c.text)
			}
			if !strings.Contains(strings.Join(told, "\n"), want) {
				t.Errorf("told %q, want %q", told, want)
			}
			errors := uint64(0)
			for _, h := range s.Health() {
				errors += h.Errors
			}
			if errors == 0 {
				t.Error("the refusal is not counted")
			}
		})
	}
	t.Run("sound", func(t *testing.T) {
		roots := madeTree(t, sound)
		s := NewSet(SetOptions{OnError: func(_ string, s run.Sensor, err error) { t.Errorf("%s: %v", s, err) }},
			NewPowerSupply(roots), NewHwmon(roots), NewCPUFreq(roots))
		defer s.Close()
		s.ReadSlow(0)
		for i, v := range s.Sweep(0) {
			if math.IsNaN(v) {
				t.Errorf("%s is missing", s.Sensors()[i])
			}
		}
	})
}

// What a system call says, or what is worked out from several files, is held against
// the same bounds: 100 A at 50 V are each believed, their product is not.
func TestWhatIsWorkedOutIsRefusedToo(t *testing.T) {
	roots := madeTree(t, with(bat0, map[string]string{"type": "Battery\n", "status": "Discharging\n", "voltage_now": "50000000\n", "current_now": "100000000\n"}))
	var told []string
	s := NewSet(SetOptions{OnError: func(_ string, _ run.Sensor, err error) { told = append(told, err.Error()) }}, NewPowerSupply(roots))
	defer s.Close()
	for now := range 3 {
		s.ReadSlow(time.Duration(now) * 2 * time.Second)
	}
	for i, v := range s.Sweep(6 * time.Second) {
		if sensor := s.Sensors()[i]; math.IsNaN(v) != (sensor.ID == run.BatteryPower) {
			t.Errorf("%s is %v", sensor, v)
		}
	}
	if want := `refused: "5000 watts" read from ` + roots.sys("class", "power_supply", "BAT0", "current_now") + " is beyond -1000 to 1000 W"; len(told) != 1 || told[0] != want {
		t.Errorf("told %q, want once %q", told, want)
	}
}

// The capture of a real battery, a GPU, a processor and a disk of procfs (references
// H1) lies inside every bound; so do the rated values of the largest devices.
func TestBoundsAreGenerous(t *testing.T) {
	for _, c := range []struct {
		id, unit string
		v        float64
	}{
		{run.BatteryPower, "watts", 178}, {run.PackagePower, "watts", 250}, {run.GPUPower, "watts", 175}, {run.BatteryEnergy, "joules", 99.9 * 3600},
		{run.CPUFrequency, "hertz", 6.2e9}, {run.FanSpeed, "hertz", 200}, {run.BatteryVoltage, "volts", 26}, {run.Current, "amperes", 250},
		{run.Temperature, "celsius", 110}, {run.Temperature, "celsius", -44}, {run.PowerLimit, "watts", 4090}, {run.PackageEnergy, "joules", 262143},
		{run.MemoryAvailable, "bytes", 256e9}, {run.CPUsOnline, "", 32}, {run.BatteryDirection, "", -1},
	} {
		if b := boundOf(run.Sensor{ID: c.id, Unit: c.unit}); c.v < b.low || c.v > b.high {
			t.Errorf("%s of %v is refused: beyond %s", c.id, c.v, b.text)
		}
	}
}

// Several files of one battery that are spoilt are told each, once, and so is one that
// another stands in for.
func TestEveryRefusalIsTold(t *testing.T) {
	roots := madeTree(t, with(bat0, map[string]string{"type": "Battery\n", "status": "Discharging\n", "power_now": "500000000000\n", "voltage_now": "12000000\n",
		"current_now": "2000000\n", "energy_now": "-5\n", "temp": "10000000\n"}))
	told := map[string]error{}
	s := NewSet(SetOptions{OnError: func(_ string, sensor run.Sensor, err error) {
		if _, twice := told[sensor.ID]; twice {
			t.Errorf("%s: told twice", sensor)
		}
		told[sensor.ID] = err
	}}, NewPowerSupply(roots))
	defer s.Close()
	for now := range 3 {
		s.ReadSlow(time.Duration(now) * 2 * time.Second)
	}
	for i, v := range s.Sweep(6 * time.Second) {
		sensor := s.Sensors()[i]
		cause := CauseOf(s.Cause(i), sensor.Source)
		switch sensor.ID {
		case run.BatteryPower:
			if v != 24 || told[sensor.ID] == nil {
				t.Errorf("power is %v W, want 24 by current and voltage; told %v", v, told[sensor.ID])
			}
		case run.BatteryEnergy, run.Temperature:
			if !math.IsNaN(v) || cause == nil || told[sensor.ID] != error(cause) || cause.Believed == "" {
				t.Errorf("%s is %v, because of %v; told %v", sensor, v, cause, told[sensor.ID])
			}
		}
	}
	if len(told) != 3 {
		t.Errorf("told %v", told)
	}
}
