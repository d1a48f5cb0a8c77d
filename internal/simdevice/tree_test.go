package simdevice

import (
	"fmt"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"
)

// full has every part and oddity that can be had at once.
func full() Config {
	cfg := UnitOak()
	cfg.Batteries = append(cfg.Batteries, BatteryConfig{FullWh: 20, ReportsCharge: true, Negative: true})
	cfg.Supply = SupplyBoth
	cfg.Peripheral = true
	cfg.PowercapZone = 10
	cfg.Thermometers = 9
	return cfg
}

// TestFileFormats holds every file of the tree against its form in the kernel's
// documents: Documentation/ABI/testing/sysfs-class-power, hwmon/sysfs-interface.rst,
// power/powercap/powercap.rst, ABI/testing/sysfs-class-thermal, admin-guide/pm/cpufreq.rst,
// admin-guide/cputopology.rst, ABI/testing/sysfs-class-firmware-attributes,
// ABI/testing/sysfs-platform_profile, accounting/psi.rst, filesystems/proc.rst.
// A file without a row fails.
func TestFileFormats(t *testing.T) {
	const number, positive, profile = `-?\d+`, `\d+`, `(low-power|cool|quiet|balanced|balanced-performance|performance|custom)`
	forms := []struct{ path, form string }{
		{`power_supply/[^/]+/type`, `Battery|UPS|Mains|USB|Wireless`},
		{`power_supply/[^/]+/status`, `Unknown|Charging|Discharging|Not charging|Full`},
		{`power_supply/[^/]+/scope`, `Unknown|System|Device`},
		{`power_supply/[^/]+/(present|online)`, `[012]`},
		{`power_supply/[^/]+/technology`, `Unknown|NiMH|Li-ion|Li-poly|LiFe|NiCd|LiMn`},
		{`power_supply/[^/]+/health`, `Good`},
		{`power_supply/[^/]+/capacity`, `\d\d?|100`},
		{`power_supply/[^/]+/capacity_level`, `Unknown|Critical|Low|Normal|High|Full`},
		{`power_supply/[^/]+/usb_type`, `(\[C\] PD PD_PPS|C \[PD\] PD_PPS)`},
		{`power_supply/[^/]+/(energy|charge)_(now|full|full_design)`, positive},
		{`power_supply/[^/]+/(power|current|voltage)_(now|max|min|min_design)`, number},
		{`power_supply/[^/]+/(temp|cycle_count)`, number},
		{`power_supply/[^/]+/charge_control_(start|end)_threshold`, `\d\d?|100`},
		{`power_supply/[^/]+/(manufacturer|model_name|serial_number)`, `[A-Za-z0-9 ]+`},
		{`power_supply/[^/]+/uevent`, `(?s)DEVTYPE=power_supply\n(POWER_SUPPLY_[A-Z_]+=[^\n]+\n?)+`},
		{`powercap/.*/energy_uj`, positive},
		{`powercap/.*/max_energy_range_uj`, `262143328850`},
		{`powercap/.*/name`, `package-0|core|uncore`},
		{`powercap/.*enabled`, `[01]`},
		{`powercap/.*/constraint_[01]_name`, `long_term|short_term`},
		{`powercap/.*/constraint_[01]_(power_limit_uw|time_window_us)`, positive},
		{`powercap/.*/constraint_[01]_max_power_uw`, `\d*`},
		{`hwmon\d+/name`, `[A-Za-z0-9_]+`},
		{`hwmon\d+/(temp\d+_(input|crit|max|min)|(in|power|curr)\d+_input)`, number},
		{`hwmon\d+/(fan\d+_input|power\d+_(average|cap|cap_min|cap_max)|freq\d+_input)`, positive},
		{`hwmon\d+/pwm1`, `\d\d?|1\d\d|2[0-4]\d|25[0-5]`},
		{`hwmon\d+/[a-z]+\d_label`, `[A-Za-z0-9 ]+`},
		{`thermal_zone\d/(temp|trip_point_\d_temp)`, number},
		{`thermal_zone\d/trip_point_\d_type`, `critical|hot|passive|active\d`},
		{`thermal_zone\d/(type|policy|available_policies)`, `[a-z0-9_]+`},
		{`thermal_zone\d/mode`, `enabled|disabled`},
		{`cooling_device\d/type`, `Fan`},
		{`cooling_device\d/(cur|max)_state`, `[0-8]`},
		{`policy\d/(scaling|cpuinfo)_(cur|min|max)_freq`, `\d{6,7}`},
		{`policy\d/cpuinfo_transition_latency`, `4294967295`},
		{`policy\d/(affected|related)_cpus`, `\d`},
		{`policy\d/(scaling|energy)_[a-z_]+`, `[a-z_<> ]+`},
		{`system/cpu/(online|possible|present)`, `0-7`},
		{`system/cpu/offline`, ``},
		{`cpu\d/online`, `[01]`},
		{`cpu\d/topology/(core_id|physical_package_id|thread_siblings_list|core_cpus_list)`, `\d(-\d)?`},
		{`smt/(control|active)`, `on|1`},
		{`thermal_throttle/(core|package)_throttle_(count|total_time_ms|max_time_ms)`, positive},
		{`platform_profile(_choices)?|platform-profile-0/(choices|profile)`, profile + `( ` + profile + `)*`},
		{`platform-profile-0/name`, `[a-z-]+`},
		{`attributes/ppt_[a-z0-9_]+/type`, `integer`},
		{`attributes/ppt_[a-z0-9_]+/(current|default|min|max)_value`, positive},
		{`attributes/ppt_[a-z0-9_]+/scalar_increment`, `1`},
		{`attributes/ppt_[a-z0-9_]+/display_name(_language_code)?`, `.+`},
		{`attributes/pending_reboot`, `[01]`},
		{`gpu_busy_percent`, `\d\d?|100`},
		{`pp_dpm_[sm]clk`, `(?s)(\d: \d+Mhz( \*| )\n?)+`},
		{`mem_info_vram_(total|used)`, positive},
		{`sim_backlight/(actual_|max_)?brightness`, positive},
		{`sim_backlight/type`, `raw`},
		{`sim_backlight/bl_power|rfkill\d/(soft|hard)`, `[01]`},
		{`rfkill\d/type`, `wlan|bluetooth`},
		{`net/wlan0/operstate`, `up|down`},
		{`card1-eDP-1/(status|enabled)`, `connected|enabled`},
		{`0000:04:00.0/(uevent|power/.*|boot_vga|power_dpm_force_performance_level)|class/drm/version|simgpu/(module|version)`, `(?s).+`},
		{`dmi/id/[a-z_]+`, `.+`},
		{`etc/.*`, `(?s).+`},
		{`proc/pressure/.*`, `some avg10=\d+\.\d\d avg60=\d+\.\d\d avg300=\d+\.\d\d total=\d+\nfull avg10=\d+\.\d\d avg60=\d+\.\d\d avg300=\d+\.\d\d total=\d+`},
		{`proc/loadavg`, `\d+\.\d\d \d+\.\d\d \d+\.\d\d \d+/\d+ \d+`},
		{`proc/uptime`, `\d+\.\d\d \d+\.\d\d`},
		{`proc/stat`, `(?s)cpu  \d+ 0 \d+ \d+ 0 0 0 0 0 0\n(cpu\d \d+ 0 \d+ \d+ 0 0 0 0 0 0\n){8}intr .*btime \d+\n.*`},
		{`proc/(meminfo|cpuinfo|version|sys/kernel/.*)`, `(?s).+`},
	}
	d := newDevice(t, full())
	d.StartWorkload(HarbourFlight())
	pass(t, d, 20*time.Second)
	err := filepath.WalkDir(d.tree.root, func(name string, e fs.DirEntry, err error) error {
		if err != nil || !e.Type().IsRegular() {
			return err
		}
		rel, _ := filepath.Rel(d.tree.root, name)
		rel = filepath.ToSlash(rel)
		text := read(t, d, rel)
		for _, f := range forms {
			if !regexp.MustCompile(`(^|/)(` + f.path + `)$`).MatchString(rel) {
				continue
			}
			if !regexp.MustCompile(`^(` + f.form + `)$`).MatchString(text) {
				t.Errorf("%s: %q is not of the form %s", rel, text, f.form)
			}
			return nil
		}
		t.Errorf("%s: no form known for %q", rel, text)
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
}

// TestClassLinks: like the kernel, classes hold links to devices, and a device's
// own link leads back to something that exists.
func TestClassLinks(t *testing.T) {
	d := newDevice(t, full())
	n := 0
	for from := range d.tree.links {
		if _, err := os.Stat(d.tree.full(from)); err != nil {
			t.Errorf("link %s leads nowhere: %v", from, err)
		}
		n++
	}
	if n < 20 {
		t.Errorf("only %d links", n)
	}
}

// TestHexadecimalZone: zone 10 is called a, and its parts add ":0".
func TestHexadecimalZone(t *testing.T) {
	d := newDevice(t, Config{PowercapZone: 10})
	for path, want := range map[string]string{
		"sim-power:a/name": "package-0", "sim-power:a:0/name": "core", "sim-power:a:1/name": "uncore",
	} {
		if got := read(t, d, "sys/class/powercap/"+path); got != want {
			t.Errorf("%s says %q, want %q", path, got, want)
		}
	}
}

// TestWrapAround: after a decrease the difference is range - previous + current
// (powercap.rst), to 1 µJ.
func TestWrapAround(t *testing.T) {
	const span = 100_000_000 // 100 J: about four seconds
	cfg := Config{WrapMicroJ: span, SettingW: 25}
	d := newDevice(t, cfg)
	d.StartWorkload(HarbourFlight())
	path := "sys/class/powercap/sim-power:0/energy_uj"
	last, sum, wraps := readInt(t, d, path), int64(0), 0
	begin := d.Truth().PackageJ
	for range 30 {
		pass(t, d, time.Second)
		now := readInt(t, d, path)
		if now < last {
			sum += span
			wraps++
		}
		sum += now - last
		last = now
		if now >= span {
			t.Fatalf("the counter shows %d, beyond its range", now)
		}
	}
	if wraps < 5 {
		t.Fatalf("%d wraps in 30 s", wraps)
	}
	if want := (d.Truth().PackageJ - begin) * 1e6; math.Abs(float64(sum)-want) > 1 {
		t.Errorf("the counter gives %d µJ, the truth is %.1f", sum, want)
	}
}

// TestRewrittenInPlace: a reader that keeps a file open sees every new value,
// shorter ones too.
func TestRewrittenInPlace(t *testing.T) {
	d := newDevice(t, Config{Without: PartBattery})
	name := filepath.Join(d.SysRoot(), "class/hwmon/hwmon1/temp1_input")
	open, err := os.Open(name)
	if err != nil {
		t.Fatal(err)
	}
	defer open.Close()
	for _, celsius := range []float64{105, 95.5, 8, -12, 101} {
		d.HeatTo(celsius)
		if err := d.Flush(); err != nil {
			t.Fatal(err)
		}
		buf := make([]byte, 64)
		n, _ := open.ReadAt(buf, 0)
		if got, want := string(buf[:n]), read(t, d, "sys/class/hwmon/hwmon1/temp1_input")+"\n"; got != want {
			t.Errorf("the open file says %q, a new one %q", got, want)
		}
		if v := float64(readInt(t, d, "sys/class/hwmon/hwmon1/temp1_input")) / 1000; math.Abs(v-celsius) > 0.07 {
			t.Errorf("at %v degrees the file says %v", celsius, v)
		}
	}
}

// TestOnlyChangesAreWritten: at one moment a second Flush touches nothing.
func TestOnlyChangesAreWritten(t *testing.T) {
	d := newDevice(t, full())
	pass(t, d, time.Second)
	for _, f := range d.tree.files {
		if f.handle != nil {
			f.handle.Close() // a write would fail now
		}
	}
	d.tree.err = nil
	d.tree.flush()
	if d.tree.err != nil {
		t.Error(d.tree.err)
	}
	for _, f := range d.tree.files {
		f.handle = nil
	}
}

// TestWrittenLimits: a value that somebody writes is obeyed and shows up in
// every other place; one outside the stated range is put back.
func TestWrittenLimits(t *testing.T) {
	d := newDevice(t, UnitOak())
	spl := "sys/class/firmware-attributes/sim-firmware/attributes/ppt_pl1_spl/current_value"
	long := "sys/class/powercap/sim-power:0/constraint_0_power_limit_uw"
	gpu := "sys/class/hwmon/hwmon3/power1_cap"
	profile := "sys/firmware/acpi/platform_profile"
	for _, c := range []struct {
		path, text string
		watts      int64
		profile    string
	}{
		{spl, "22", 22, "custom"},
		{long, "18000000", 18, "custom"},
		{gpu, "31000000\n", 31, "custom"},
		{profile, "performance", 28, "performance"},
		{spl, "99", 28, "performance"},
		{spl, "many", 28, "performance"},
		{profile, "sporty\n", 28, "performance"},
		{long, "9000000", 9, "custom"},
	} {
		if err := os.WriteFile(d.tree.full(c.path), []byte(c.text), 0o644); err != nil {
			t.Fatal(err)
		}
		pass(t, d, time.Second)
		if got := readInt(t, d, spl); got != c.watts {
			t.Errorf("after %q into %s the firmware says %d W, want %d", c.text, c.path, got, c.watts)
		}
		if got := readInt(t, d, gpu); got != c.watts*1e6 {
			t.Errorf("after %q into %s the GPU's cap is %d µW", c.text, c.path, got)
		}
		if got := read(t, d, profile); got != c.profile {
			t.Errorf("after %q into %s the profile is %q, want %q", c.text, c.path, got, c.profile)
		}
		if got := d.Truth().SettingW; got != float64(c.watts) {
			t.Errorf("after %q into %s the setting is %v W", c.text, c.path, got)
		}
	}
	if err := d.SetProfile("sporty"); err == nil {
		t.Error("no error for a profile that does not exist")
	}
}

// TestIgnoredWrites: a device can be told to put back whatever is written.
func TestIgnoredWrites(t *testing.T) {
	d := newDevice(t, Config{IgnoreWrites: true})
	spl := "sys/class/firmware-attributes/sim-firmware/attributes/ppt_pl1_spl/current_value"
	if err := os.WriteFile(d.tree.full(spl), []byte("22"), 0o644); err != nil {
		t.Fatal(err)
	}
	pass(t, d, time.Second)
	if got := readInt(t, d, spl); got != 15 {
		t.Errorf("the firmware says %d W, want the old 15", got)
	}
}

// TestWithout: every part can be left out, and then no file of it is there.
func TestWithout(t *testing.T) {
	for part, path := range map[Parts]string{
		PartBattery: "sys/class/power_supply/BAT0", PartAdapter: "sys/class/power_supply/ADP0",
		PartPowercap: "sys/class/powercap", PartPowercapLimit: "sys/class/powercap/sim-power:0/constraint_0_name",
		PartFirmwareLimit: "sys/class/firmware-attributes", PartPlatformProfile: "sys/firmware/acpi/platform_profile",
		PartGPU: "sys/class/drm", PartGPUCap: "sys/class/hwmon/hwmon3/power1_cap", PartHwmon: "sys/class/hwmon/hwmon1",
		PartFan: "sys/class/hwmon/hwmon4", PartThermalZones: "sys/class/thermal", PartCPUFreq: cpuRoot + "cpufreq",
		PartThrottleCounts: cpuRoot + "cpu0/thermal_throttle", PartPressure: "proc/pressure", PartDMI: "sys/class/dmi",
		PartBacklight: "sys/class/backlight", PartRadios: "sys/class/rfkill",
	} {
		with, without := newDevice(t, Config{}), newDevice(t, Config{Without: part})
		if _, err := os.Stat(with.tree.full(path)); err != nil {
			t.Errorf("%s is missing from a complete device: %v", path, err)
		}
		if _, err := os.Stat(without.tree.full(path)); err == nil {
			t.Errorf("%s is there although left out", path)
		}
		pass(t, without, time.Second)
	}
}

// A firmware attribute that has its current value only, and the fan's values in
// hwmonN/device.
func TestOddPlaces(t *testing.T) {
	d := newDevice(t, Config{CurrentOnly: true, HwmonInDevice: true})
	entries, err := os.ReadDir(d.tree.full("sys/class/firmware-attributes/sim-firmware/attributes/ppt_pl1_spl"))
	if err != nil || len(entries) != 1 || entries[0].Name() != "current_value" {
		t.Errorf("the attribute has %v, want current_value alone (%v)", entries, err)
	}
	if _, err := os.Stat(d.tree.full("sys/class/hwmon/hwmon4/name")); err == nil {
		t.Error("hwmon4 has its name in its own folder")
	}
	if got := read(t, d, "sys/class/hwmon/hwmon4/device/name"); got != "sim_fan" {
		t.Errorf("hwmon4/device/name is %q", got)
	}
	readInt(t, d, "sys/class/hwmon/hwmon4/device/fan1_input")
}

// TestThermometers: as many as wanted, on chips of 8, and in ten seconds each
// moves by at most an eighth of a degree a tenth of a second.
func TestThermometers(t *testing.T) {
	d := newDevice(t, Config{Thermometers: 9})
	moved := 0
	paths := []string{"sys/class/hwmon/hwmon101/temp1_input"}
	for i := range 8 {
		paths = append(paths, fmt.Sprintf("sys/class/hwmon/hwmon100/temp%d_input", i+1))
	}
	for range 100 {
		before := make(map[string]int64)
		for _, path := range paths {
			before[path] = readInt(t, d, path)
		}
		d.Advance(100 * time.Millisecond)
		if err := d.Flush(); err != nil {
			t.Fatal(err)
		}
		for path, was := range before {
			now := readInt(t, d, path)
			if step := now - was; step != 0 && step != 125 && step != -125 || now < 30_000 || now > 60_000 {
				t.Fatalf("%s went from %d to %d", path, was, now)
			}
			if now != was {
				moved++
			}
		}
	}
	// Two of three steps move: 600 of 900, sd 14.
	if moved < 530 || moved > 670 {
		t.Errorf("%d of 900 steps moved a temperature, want about 600", moved)
	}
	if _, err := os.Stat(d.tree.full("sys/class/hwmon/hwmon101/temp2_input")); err == nil {
		t.Error("there is a tenth thermometer")
	}
}

// TestCPUsOffline: lists and counters follow, and come back.
func TestCPUsOffline(t *testing.T) {
	d := newDevice(t, UnitOak())
	check := func(online, offline string, there bool) {
		t.Helper()
		if got := read(t, d, cpuRoot+"online"); got != online {
			t.Errorf("online is %q, want %q", got, online)
		}
		if got := read(t, d, cpuRoot+"offline"); got != offline {
			t.Errorf("offline is %q, want %q", got, offline)
		}
		if _, err := os.Stat(d.tree.full(cpuRoot + "cpu7/thermal_throttle/package_throttle_count")); (err == nil) != there {
			t.Errorf("throttle counter of cpu7: %v, want there: %v", err, there)
		}
		if got := strings.Contains(read(t, d, "proc/stat"), "cpu7 "); got != there {
			t.Errorf("proc/stat names cpu7: %v, want %v", got, there)
		}
	}
	check("0-7", "", true)
	if err := d.SetCPUsOnline(6); err != nil {
		t.Fatal(err)
	}
	pass(t, d, time.Second)
	check("0-5", "6-7", false)
	if err := d.SetCPUsOnline(8); err != nil {
		t.Fatal(err)
	}
	pass(t, d, time.Second)
	check("0-7", "", true)
	if err := d.SetCPUsOnline(0); err == nil {
		t.Error("no error for a device without CPUs")
	}
}

// TestFramesOfTempDir: the folder is new and writable.
func TestMakeTempDir(t *testing.T) {
	a, err := MakeTempDir("x")
	if err != nil {
		t.Fatal(err)
	}
	defer os.Remove(a)
	if strings.Contains(filepath.Base(a), string(filepath.Separator)) || !strings.HasPrefix(filepath.Base(a), "simdevice-x-") {
		t.Errorf("the folder is called %s", a)
	}
	if _, err := New(filepath.Join(a, "\x00"), Config{}, day); err == nil {
		t.Error("no error for a folder that cannot be")
	}
}
