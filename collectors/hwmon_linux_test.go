package collectors

import (
	"math"
	"os"
	"path/filepath"
	"testing"
	"time"

	"sweepd/run"
)

// Units after the kernel's Documentation/hwmon/sysfs-interface.rst: m°C, µW, µJ,
// mV, mA, rev/min; freq in Hz after the GPU drivers' document.
func TestHwmonUnits(t *testing.T) {
	roots := madeTree(t, map[string]string{
		"sys/class/hwmon/hwmon0/name":             "board\n",
		"sys/class/hwmon/hwmon0/temp1_input":      "43850\n",
		"sys/class/hwmon/hwmon0/temp1_label":      "Vents\n",
		"sys/class/hwmon/hwmon0/temp1_crit":       "94850\n",
		"sys/class/hwmon/hwmon0/temp10_input":     "-1250\n",
		"sys/class/hwmon/hwmon0/power1_input":     "15000000\n",
		"sys/class/hwmon/hwmon0/energy1_input":    "21721962583\n",
		"sys/class/hwmon/hwmon0/in0_input":        "12229\n",
		"sys/class/hwmon/hwmon0/curr1_input":      "-395\n",
		"sys/class/hwmon/hwmon0/fan1_input":       "3120\n",
		"sys/class/hwmon/hwmon0/fan2_input":       "0\n",
		"sys/class/hwmon/hwmon0/freq1_input":      "852000000\n",
		"sys/class/hwmon/hwmon0/pwm1":             "128\n",
		"sys/class/hwmon/hwmon0/humidity1_input":  "40000\n",
		"sys/class/hwmon/hwmon0/intrusion0_alarm": "0\n",
		"sys/class/hwmon/hwmon0/update_interval":  "1000\n",
	})
	wantReadings(t, NewHwmon(roots), map[string]float64{
		"temperature_celsius board/Vents":  43.85,
		"temperature_celsius board/temp10": -1.25,
		"power_watts board/power1":         15,
		"energy_joules board/energy1":      0, // counted since it was opened
		"voltage_volts board/in0":          12.229,
		"current_amperes board/curr1":      -0.395,
		"fan_speed_hertz board/fan1":       52,
		"fan_speed_hertz board/fan2":       0,
		"frequency_hertz board/freq1":      852e6,
	})
}

// The disk of the procfs capture, value by value; its limits 65261850 and
// -273150 mean "none" and are not read.
func TestHwmonCapturedDisk(t *testing.T) {
	roots := capture(t, "sys/devices/pci0000:00/0000:00:02.1")
	class := roots.sys("class", "hwmon")
	if err := os.MkdirAll(class, 0o755); err != nil {
		t.Fatal(err)
	}
	disk := roots.sys("devices", "pci0000:00", "0000:00:02.1", "0000:01:00.0", "nvme", "nvme0", "hwmon3")
	if err := os.Symlink(disk, filepath.Join(class, "hwmon3")); err != nil {
		t.Fatal(err)
	}
	wantReadings(t, NewHwmon(roots), map[string]float64{
		"temperature_celsius nvme/Composite": 43.85,
		"temperature_celsius nvme/Sensor 1":  43.85,
		"temperature_celsius nvme/Sensor 2":  45.85,
		"temperature_celsius nvme/Sensor 8":  43.85,
	})
	offers, _ := NewHwmon(roots).Scan()
	if offers[0].MinInterval < time.Second {
		t.Errorf("each reading is a command to the drive, but it is read every %v", offers[0].MinInterval)
	}
}

// The power meters of the procfs capture, whose values lie in the device's
// folder. The capture has no class/hwmon; its folders are linked to it here as
// the kernel does.
func TestHwmonValuesInDevice(t *testing.T) {
	roots := capture(t, "sys/bus/acpi/drivers/power_meter")
	for number, meter := range []string{"ACPI000D:00", "ACPI000D:01"} {
		dir := roots.sys("class", "hwmon", "hwmon"+string(rune('0'+number)))
		if err := os.MkdirAll(dir, 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.Symlink(roots.sys("bus", "acpi", "drivers", "power_meter", meter), filepath.Join(dir, "device")); err != nil {
			t.Fatal(err)
		}
	}
	wantReadings(t, NewHwmon(roots), map[string]float64{
		"power_watts ACPI000D:00/power1": 15,
		"power_watts ACPI000D:01/power1": 5,
	})
	rewrite(t, roots.sys("bus", "acpi", "drivers", "power_meter", "ACPI000D:00", "name"), "meter\n")
	wantReadings(t, NewHwmon(roots), map[string]float64{
		"power_watts meter/power1":       15,
		"power_watts ACPI000D:01/power1": 5,
	})
}

// Names hold when the kernel numbers the chips otherwise: two chips of one name
// are told apart by the bus address, also where the nearest folder's name counts
// arrivals.
func TestHwmonNamesSurviveRenumbering(t *testing.T) {
	tree := func(first, second string) Roots {
		return madeTree(t, map[string]string{
			"sys/class/hwmon/" + first: "-> sys/devices/pci0000:00/0000:01:00.0/disk/disk0/" + first,
			"sys/devices/pci0000:00/0000:01:00.0/disk/disk0/" + first + "/name":        "nvme",
			"sys/devices/pci0000:00/0000:01:00.0/disk/disk0/" + first + "/device":      "-> sys/devices/pci0000:00/0000:01:00.0/disk/disk0",
			"sys/devices/pci0000:00/0000:01:00.0/disk/disk0/" + first + "/temp1_input": "31000",
			"sys/class/hwmon/" + second: "-> sys/devices/pci0000:00/0000:02:00.0/disk/disk1/" + second,
			"sys/devices/pci0000:00/0000:02:00.0/disk/disk1/" + second + "/name":        "nvme",
			"sys/devices/pci0000:00/0000:02:00.0/disk/disk1/" + second + "/device":      "-> sys/devices/pci0000:00/0000:02:00.0/disk/disk1",
			"sys/devices/pci0000:00/0000:02:00.0/disk/disk1/" + second + "/temp1_input": "42000",
		})
	}
	want := map[string]float64{
		"temperature_celsius nvme@0000:01:00.0/temp1": 31,
		"temperature_celsius nvme@0000:02:00.0/temp1": 42,
	}
	wantReadings(t, NewHwmon(tree("hwmon2", "hwmon10")), want)
	wantReadings(t, NewHwmon(tree("hwmon7", "hwmon3")), want)
}

func TestHwmonSameNameWithoutAddress(t *testing.T) {
	roots := madeTree(t, map[string]string{
		"sys/class/hwmon/hwmon1/name": "twin", "sys/class/hwmon/hwmon1/temp1_input": "1000",
		"sys/class/hwmon/hwmon1/temp1_label": "CPU", "sys/class/hwmon/hwmon1/temp2_input": "2000", "sys/class/hwmon/hwmon1/temp2_label": "CPU",
		"sys/class/hwmon/hwmon12/name": "twin", "sys/class/hwmon/hwmon12/temp1_input": "3000",
	})
	wantReadings(t, NewHwmon(roots), map[string]float64{
		"temperature_celsius twin#1/CPU temp1": 1,
		"temperature_celsius twin#1/CPU temp2": 2,
		"temperature_celsius twin#2/temp1":     3,
	})
}

// Chips that repeat another collector's sensors, as a real 6.1 kernel shows
// them: the device of hwmon0 is the zone, that of hwmon1 the battery.
func TestHwmonSkipsDuplicates(t *testing.T) {
	roots := madeTree(t, map[string]string{
		"sys/class/thermal/thermal_zone0":                              "-> sys/devices/virtual/thermal/thermal_zone0",
		"sys/devices/virtual/thermal/thermal_zone0/type":               "acpitz",
		"sys/devices/virtual/thermal/thermal_zone0/temp":               "37000",
		"sys/class/hwmon/hwmon0":                                       "-> sys/devices/virtual/thermal/thermal_zone0/hwmon0",
		"sys/devices/virtual/thermal/thermal_zone0/hwmon0/name":        "acpitz",
		"sys/devices/virtual/thermal/thermal_zone0/hwmon0/temp1_input": "37000",
		"sys/devices/virtual/thermal/thermal_zone0/hwmon0/device":      "-> sys/devices/virtual/thermal/thermal_zone0",
		"sys/class/hwmon/hwmon1":                                       "-> sys/devices/PNP0C0A:00/power_supply/BAT0/hwmon1",
		"sys/devices/PNP0C0A:00/power_supply/BAT0/hwmon1/name":         "BAT0",
		"sys/devices/PNP0C0A:00/power_supply/BAT0/hwmon1/in0_input":    "12229",
		"sys/devices/PNP0C0A:00/power_supply/BAT0/hwmon1/device":       "-> sys/devices/PNP0C0A:00/power_supply/BAT0",
		"sys/class/drm/card1/device":                                   "-> sys/devices/pci0000:00/0000:03:00.0",
		"sys/class/hwmon/hwmon2":                                       "-> sys/devices/pci0000:00/0000:03:00.0/hwmon/hwmon2",
		"sys/devices/pci0000:00/0000:03:00.0/hwmon/hwmon2/name":        "gpu",
		"sys/devices/pci0000:00/0000:03:00.0/hwmon/hwmon2/temp1_input": "51000",
		"sys/class/hwmon/hwmon3/name":                                  "board",
		"sys/class/hwmon/hwmon3/temp1_input":                           "40000",
	})
	wantReadings(t, NewHwmon(roots), map[string]float64{"temperature_celsius board/temp1": 40})
	wantReadings(t, NewThermal(roots), map[string]float64{"temperature_celsius acpitz": 37})
	if got := readings(t, NewDRM(roots)); len(got) != 1 || got["temperature_celsius 0000:03:00.0/temp1"].value != 51 {
		t.Errorf("drm: %v, want the temperature 51 alone", got)
	}
}

func TestHwmonBadValues(t *testing.T) {
	const dir = "sys/class/hwmon/hwmon0/"
	roots := madeTree(t, map[string]string{
		dir + "name":        "board",
		dir + "temp1_input": "43850", dir + "temp1_fault": "1", // a broken probe shows a good-looking value
		dir + "temp2_input": "43850", dir + "temp2_fault": "0",
		dir + "temp3_input":  "-273150",
		dir + "temp4_input":  "65261850",
		dir + "temp5_input":  "",
		dir + "temp6_input":  "\x00\xff\x00",
		dir + "temp7_input":  "<unknown>",
		dir + "temp8_input":  string(make([]byte, 1<<20)),
		dir + "temp9_input":  "99999999999999999999",
		dir + "fan1_input":   "-1",
		dir + "temp11_input": "43.85",
		dir + "temp12_label": "no input",
	})
	wantReadings(t, NewHwmon(roots), map[string]float64{
		"temperature_celsius board/temp1": missing, "temperature_celsius board/temp2": 43.85,
		"temperature_celsius board/temp3": missing, "temperature_celsius board/temp4": missing,
		"temperature_celsius board/temp5": missing, "temperature_celsius board/temp6": missing,
		"temperature_celsius board/temp7": missing, "temperature_celsius board/temp8": missing,
		"temperature_celsius board/temp9": missing, "temperature_celsius board/temp11": missing,
		"fan_speed_hertz board/fan1": missing,
	})
}

// A fault that comes and goes, and one error value while it stays.
func TestHwmonFaultPasses(t *testing.T) {
	roots := madeTree(t, map[string]string{
		"sys/class/hwmon/hwmon0/name": "board", "sys/class/hwmon/hwmon0/temp1_input": "43850", "sys/class/hwmon/hwmon0/temp1_fault": "0",
	})
	offers, _ := NewHwmon(roots).Scan()
	p := opened(t, offers[0])
	dst := []float64{0}
	if err := p.Read(0, dst); err != nil || dst[0] != 43.85 {
		t.Fatalf("%v, %v", dst[0], err)
	}
	rewrite(t, roots.sys("class", "hwmon", "hwmon0", "temp1_fault"), "1")
	first := p.Read(1, dst)
	if again := p.Read(2, dst); first == nil || again != first || !math.IsNaN(dst[0]) {
		t.Fatalf("faulty: %v, errors %v and %v", dst[0], first, again)
	}
	rewrite(t, roots.sys("class", "hwmon", "hwmon0", "temp1_fault"), "0")
	if err := p.Read(3, dst); err != nil || dst[0] != 43.85 {
		t.Fatalf("healed: %v, %v", dst[0], err)
	}
}

// The average counts where a driver has both; the momentary value stands in
// while the average cannot be had.
func TestHwmonPowerPrefersTheAverage(t *testing.T) {
	roots := madeTree(t, map[string]string{
		"sys/class/hwmon/hwmon0/name": "board", "sys/class/hwmon/hwmon0/power1_input": "9000000", "sys/class/hwmon/hwmon0/power1_average": "15000000",
	})
	want := map[string]float64{"power_watts board/power1": 15}
	wantReadings(t, NewHwmon(roots), want)
	rewrite(t, roots.sys("class", "hwmon", "hwmon0", "power1_average"), "")
	want["power_watts board/power1"] = 9
	wantReadings(t, NewHwmon(roots), want)
}

// A counter starts at 0 when it is opened; where its source starts anew it
// falls to 0, the mark of a reset.
func TestHwmonEnergyCounts(t *testing.T) {
	roots := madeTree(t, map[string]string{"sys/class/hwmon/hwmon0/name": "board", "sys/class/hwmon/hwmon0/energy1_input": "21721962583"})
	offers, _ := NewHwmon(roots).Scan()
	if k := offers[0].Sensors[0].Kind; k != run.Counter {
		t.Fatalf("kind %v", k)
	}
	p := opened(t, offers[0])
	dst := []float64{0}
	for _, step := range []struct {
		file string
		want float64
	}{{"21721962583", 0}, {"21724462583", 2.5}, {"garbage", missing}, {"21725462583", 3.5}, {"1000", 0}, {"501000", 0.5}} {
		rewrite(t, roots.sys("class", "hwmon", "hwmon0", "energy1_input"), step.file)
		_ = p.Read(0, dst)
		if dst[0] != step.want && !(math.IsNaN(step.want) && math.IsNaN(dst[0])) {
			t.Errorf("%s: %v J, want %v", step.file, dst[0], step.want)
		}
	}
}

func TestHwmonAbsences(t *testing.T) {
	_, absences := NewHwmon(madeTree(t, nil)).Scan()
	if len(absences) != 2 || absences[0].Why == "" || absences[0].Remedy == "" {
		t.Errorf("absences %+v, want the missing chips with a remedy, and the missing fans", absences)
	}
}

// A factor whose reciprocal is not whole (µWh to joules) is multiplied.
func TestLimitsInUnit(t *testing.T) {
	for _, c := range []struct{ scale, v, want float64 }{
		{1e-3, 43850, 43.85}, {1e-6, 646252, 0.646252}, {1.0 / 60, 3120, 52}, {1, -7, -7}, {1000, 1219917, 1.219917e9}, {3600e-6, 5e7, 180_000},
	} {
		if got := (limits{scale: c.scale}).inUnit(c.v); got != c.want {
			t.Errorf("%v times %v = %v, want %v", c.v, c.scale, got, c.want)
		}
	}
}

// A sensor with *_enable 0 fails with ENODATA (same document): it is not
// offered, and the user hears how to switch it on.
func TestHwmonSwitchedOff(t *testing.T) {
	const dir = "sys/class/hwmon/hwmon0/"
	roots := madeTree(t, map[string]string{
		dir + "name": "board", dir + "temp1_input": "", dir + "temp1_enable": "0\n", dir + "fan1_input": "3120", dir + "fan1_enable": "1\n",
	})
	wantReadings(t, NewHwmon(roots), map[string]float64{"fan_speed_hertz board/fan1": 52})
	_, absences := NewHwmon(roots).Scan()
	if want := "write 1 to " + roots.sys("class", "hwmon", "hwmon0", "temp1_enable"); len(absences) != 1 || absences[0].Remedy != want {
		t.Errorf("absences %+v, want one with the remedy %q", absences, want)
	}
	rewrite(t, roots.sys("class", "hwmon", "hwmon0", "temp1_enable"), "1\n")
	rewrite(t, roots.sys("class", "hwmon", "hwmon0", "temp1_input"), "41000\n")
	wantReadings(t, NewHwmon(roots), map[string]float64{"fan_speed_hertz board/fan1": 52, "temperature_celsius board/temp1": 41})
}
