package simdevice

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"syscall"
	"testing"
	"testing/synctest"
	"time"
)

// Places that can be set.
const (
	attributes = "sys/class/firmware-attributes/sim-firmware/attributes/"
	sustained  = attributes + "ppt_pl1_spl/current_value"
	slow       = attributes + "ppt_pl2_sppt/current_value"
	fast       = attributes + "ppt_pl3_fppt/current_value"
	longTerm   = "sys/class/powercap/sim-power:0/constraint_0_power_limit_uw"
	shortTerm  = "sys/class/powercap/sim-power:0/constraint_1_power_limit_uw"
	gpuCap     = "sys/class/hwmon/hwmon3/power1_cap"
	oldProfile = "sys/firmware/acpi/platform_profile"
	newProfile = "sys/class/platform-profile/platform-profile-0/profile"
	policy3    = cpuRoot + "cpufreq/policy3/"
)

// set is Set below the root, in the way of a table.
func set(t *testing.T, d *Device, path, text string) error {
	t.Helper()
	return d.Set(d.tree.full(path), text)
}

// Each thing that can be set is taken at once and shows where it shows, or is refused with
// what a kernel answers: EINVAL outside the stated range (firmware-attributes: "must be
// between min_value and max_value"; hwmon power1_cap between cap_min and cap_max), EACCES
// where a file is read-only, EBUSY for the policy of an offline CPU, ENOENT for none.
func TestSet(t *testing.T) {
	d := newDevice(t, UnitOak())
	for _, c := range []struct {
		path, text string
		want       error
		shows      map[string]string
	}{
		{sustained, "22", nil, map[string]string{sustained: "22", slow: "22", fast: "22", longTerm: "22000000", gpuCap: "22000000", oldProfile: "custom"}},
		{fast, "30\n", nil, map[string]string{sustained: "22", slow: "22", fast: "30", shortTerm: "30000000"}},
		{slow, "10", nil, map[string]string{sustained: "10", slow: "10", fast: "30"}},
		{sustained, "3", syscall.EINVAL, map[string]string{sustained: "10"}},
		{sustained, "61", syscall.EINVAL, nil},
		{fast, "72", nil, map[string]string{fast: "72"}},
		{fast, "73", syscall.EINVAL, map[string]string{fast: "72"}},
		{sustained, "12.5", syscall.EINVAL, map[string]string{sustained: "10"}},
		{sustained, "", syscall.EINVAL, nil},
		{attributes + "ppt_pl1_spl/max_value", "90", syscall.EACCES, map[string]string{attributes + "ppt_pl1_spl/max_value": "60"}},
		{longTerm, "18000000", nil, map[string]string{longTerm: "18000000", sustained: "18", slow: "20", fast: "22"}},
		{shortTerm, "28000000", nil, map[string]string{shortTerm: "28000000", longTerm: "18000000"}},
		{longTerm, "0", syscall.EINVAL, nil},
		{gpuCap, "31000000", nil, map[string]string{gpuCap: "31000000", sustained: "31"}},
		{gpuCap, "99000000", syscall.EINVAL, map[string]string{gpuCap: "31000000"}},
		{oldProfile, "low-power", nil, map[string]string{oldProfile: "low-power", newProfile: "low-power", sustained: "8"}},
		{oldProfile, "custom", syscall.EINVAL, map[string]string{oldProfile: "low-power"}},
		{newProfile, "custom", nil, map[string]string{oldProfile: "custom", sustained: "8"}},
		{oldProfile, "sporty", syscall.EINVAL, nil},
		{policy3 + "energy_performance_preference", "power", nil, map[string]string{policy3 + "energy_performance_preference": "power"}},
		{policy3 + "energy_performance_preference", "sparing", syscall.EINVAL, nil},
		{policy3 + "scaling_governor", "performance", nil, map[string]string{policy3 + "scaling_governor": "performance", policy3 + "energy_performance_preference": "performance"}},
		{policy3 + "energy_performance_preference", "power", syscall.EBUSY, nil},
		{policy3 + "scaling_governor", "ondemand", syscall.EINVAL, nil},
		{policy3 + "scaling_governor", "schedutil", nil, map[string]string{policy3 + "energy_performance_preference": "power", cpuRoot + "cpufreq/policy2/scaling_governor": "schedutil"}},
		{cpuRoot + "cpu3/online", "0", nil, map[string]string{cpuRoot + "online": "0-2,4-7", cpuRoot + "offline": "3", cpuRoot + "cpu3/online": "0", policy3 + "scaling_governor": ""}},
		{cpuRoot + "cpu6/online", "0", nil, map[string]string{cpuRoot + "online": "0-2,4-5,7", cpuRoot + "offline": "3,6"}},
		{cpuRoot + "cpu3/cpufreq/scaling_governor", "powersave", syscall.EBUSY, nil},
		{cpuRoot + "cpu3/online", "2", syscall.EINVAL, nil},
		{cpuRoot + "cpu3/online", "1", nil, map[string]string{cpuRoot + "online": "0-5,7", policy3 + "scaling_governor": "schedutil"}},
		{cpuRoot + "cpu0/online", "0", fs.ErrNotExist, map[string]string{cpuRoot + "present": "0-7"}},
		{"../../etc/passwd", "x", ErrElsewhere, nil},
	} {
		if err := set(t, d, c.path, c.text); !errors.Is(err, c.want) || err == nil != (c.want == nil) {
			t.Errorf("%q into %s: %v, want %v", c.text, c.path, err, c.want)
		}
		for path, want := range c.shows {
			if got := read(t, d, path); got != want {
				t.Errorf("after %q into %s, %s reads %q, want %q", c.text, c.path, path, got, want)
			}
		}
	}
	if got := d.Truth(); got.SettingW != 8 {
		t.Errorf("the setting is %v W", got.SettingW)
	}
}

// No path leads out of the tree, and what is outside stays as it is.
func TestSetNothingElsewhere(t *testing.T) {
	d := newDevice(t, UnitOak())
	outside := filepath.Join(t.TempDir(), "current_value")
	if err := os.WriteFile(outside, []byte("15\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	for _, path := range []string{outside, "/sys/firmware/acpi/platform_profile", filepath.Dir(d.tree.root), d.tree.root + "x/" + sustained} {
		if err := d.Set(path, "22"); !errors.Is(err, ErrElsewhere) {
			t.Errorf("%s: %v", path, err)
		}
		if _, err := d.Get(path); !errors.Is(err, ErrElsewhere) {
			t.Errorf("%s is read: %v", path, err)
		}
	}
	if text, err := os.ReadFile(outside); string(text) != "15\n" || err != nil {
		t.Errorf("outside reads %q, %v", text, err)
	}
	if err := plain(t, Config{}).Set("/"+sustained, "22"); err == nil {
		t.Error("a device without files takes a write")
	}
}

// With strict limits none may lie above the next, not even for a moment.
func TestStrictLimits(t *testing.T) {
	d := newDevice(t, Config{StrictLimits: true}) // 15, 16.5, 18
	for _, c := range []struct {
		path, text string
		want       error
	}{
		{sustained, "20", syscall.EINVAL}, {slow, "20", syscall.EINVAL}, {fast, "20", nil}, {slow, "20", nil}, {sustained, "20", nil},
		{fast, "10", syscall.EINVAL}, {sustained, "10", nil}, {slow, "10", nil}, {fast, "10", nil},
	} {
		if err := set(t, d, c.path, c.text); !errors.Is(err, c.want) || err == nil != (c.want == nil) {
			t.Errorf("%q into %s: %v, want %v", c.text, c.path, err, c.want)
		}
	}
}

// What is wrong with a file shows in the write, in what it reads then, and in what the
// device does.
func TestFaultsOfASetting(t *testing.T) {
	for name, c := range map[string]struct {
		fault   Fault
		want    error
		reads   string
		settles float64 // W of the package under load
	}{
		"none":    {Fault{}, nil, "25", 25},
		"busy":    {Fault{Errno: syscall.EBUSY}, syscall.EBUSY, "15", 15},
		"denied":  {Fault{Errno: syscall.EACCES}, syscall.EACCES, "15", 15},
		"invalid": {Fault{Errno: syscall.EINVAL}, syscall.EINVAL, "15", 15},
		"gone":    {Fault{Errno: syscall.ENODEV}, syscall.ENODEV, "15", 15},
		"keeps":   {Fault{Keeps: true}, nil, "15", 15},
		"lies":    {Fault{Lies: true}, nil, "25", 15},
		"other":   {Fault{Shows: "23"}, nil, "23", 25},
	} {
		t.Run(name, func(t *testing.T) {
			c.fault.Times = 1
			d := newDevice(t, UnitOak())
			if err := d.Plant(sustained, c.fault); err != nil {
				t.Fatal(err)
			}
			if err := set(t, d, sustained, "25"); !errors.Is(err, c.want) || err == nil != (c.want == nil) {
				t.Fatalf("the write gives %v, want %v", err, c.want)
			}
			if got, err := d.Get(d.tree.full(sustained)); got != c.reads || err != nil {
				t.Errorf("it reads %q, %v, want %q", got, err, c.reads)
			}
			d.StartWorkload(HarbourFlight())
			pass(t, d, 20*time.Second)
			before := d.Truth()
			pass(t, d, 20*time.Second)
			if w := Between(before, d.Truth()).PackageW; w < c.settles-0.3 || w > c.settles+0.3 {
				t.Errorf("the package draws %.2f W, want %v", w, c.settles)
			}
			if err := set(t, d, sustained, "20"); err != nil {
				t.Errorf("the second write, which nothing is wrong for, gives %v", err)
			}
			if got := read(t, d, sustained); got != "20" || d.Truth().SettingW != 20 {
				t.Errorf("then it reads %s and is %v W", got, d.Truth().SettingW)
			}
		})
	}
}

// A write that hangs comes back when it is mended; the device lives on meanwhile.
func TestWriteHangs(t *testing.T) {
	d := newDevice(t, UnitOak())
	synctest.Test(t, func(t *testing.T) {
		if err := d.Plant(sustained, Fault{Hangs: true}); err != nil {
			t.Fatal(err)
		}
		back := make(chan error, 1)
		go func() { back <- set(t, d, sustained, "25") }()
		synctest.Wait()
		d.Advance(time.Second)
		if got := read(t, d, sustained); got != "15" || len(back) > 0 {
			t.Errorf("while it hangs it reads %s, come back: %d", got, len(back))
		}
		if err := d.Mend(sustained); err != nil {
			t.Fatal(err)
		}
		if err := <-back; err != nil || read(t, d, sustained) != "25" {
			t.Errorf("mended it gives %v and reads %s", err, read(t, d, sustained))
		}
	})
}

// A read fails with what a kernel answers, and a place that went away with ENODEV.
func TestGetFails(t *testing.T) {
	d := newDevice(t, UnitOak())
	full := d.tree.full(sustained)
	if err := d.Plant(sustained, Fault{Unread: syscall.EIO}); err != nil {
		t.Fatal(err)
	}
	if _, err := d.Get(full); !errors.Is(err, syscall.EIO) {
		t.Errorf("planted: %v", err)
	}
	if err := errors.Join(d.Mend(sustained), d.BreakFile(sustained, Removed)); err != nil {
		t.Fatal(err)
	}
	if _, err := d.Get(full); !errors.Is(err, syscall.ENODEV) {
		t.Errorf("removed: %v", err)
	}
	if err := d.Set(full, "20"); !errors.Is(err, syscall.ENODEV) {
		t.Errorf("removed, written: %v", err)
	}
	if err := errors.Join(d.Repair(sustained), set(t, d, cpuRoot+"cpu3/online", "0")); err != nil {
		t.Fatal(err)
	}
	if _, err := d.Get(d.tree.full(policy3 + "scaling_governor")); !errors.Is(err, syscall.EBUSY) {
		t.Errorf("the governor of an offline CPU: %v", err)
	}
	if err := d.Plant("sys/none", Fault{}); err == nil {
		t.Error("a fault is planted in no file")
	}
}

// A limit goes back to the device's own after a suspend, with the plug, or at random.
func TestLimitReverts(t *testing.T) {
	events := map[string]func(d *Device){
		"resume": func(d *Device) { d.Suspend(time.Millisecond) },
		"plug":   (*Device).Plug,
		"time":   func(d *Device) { d.Advance(time.Hour) },
	}
	for name, c := range map[string]Reverts{"": {}, "resume": {OnResume: true}, "plug": {OnPlug: true}, "time": {Every: time.Minute}} {
		for event, happens := range events {
			cfg := UnitOak()
			cfg.Reverts = c
			d := newDevice(t, cfg)
			if err := set(t, d, sustained, "25"); err != nil {
				t.Fatal(err)
			}
			happens(d)
			want := 25.0
			if name == event {
				want = 15
			}
			if got := d.Truth().SettingW; got != want {
				t.Errorf("reverting on %q, after %s the limit is %v W, want %v", name, event, got, want)
			}
		}
	}
}

// A sensor that jumps shows a text until it is repaired.
func TestMislead(t *testing.T) {
	d := newDevice(t, UnitOak())
	const path = "sys/class/hwmon/hwmon1/temp1_input"
	for _, text := range []string{"150000", "7"} {
		if err := d.Mislead(path, text); err != nil {
			t.Fatal(err)
		}
		pass(t, d, time.Second)
		if got := read(t, d, path); got != text {
			t.Errorf("it reads %q, want %q", got, text)
		}
	}
	if err := d.Repair(path); err != nil || readInt(t, d, path) > 100_000 || readInt(t, d, path) < 15_000 {
		t.Errorf("repaired it reads %s (%v)", read(t, d, path), err)
	}
	if err := d.Mislead("sys/none", "7"); err == nil {
		t.Error("no file is misled")
	}
}

// Batteries that are warm show it, apart from the case.
func TestWarmBatteries(t *testing.T) {
	d := newDevice(t, UnitOak())
	before := readInt(t, d, "sys/class/power_supply/BAT0/temp")
	d.WarmBatteries(30)
	pass(t, d, 3*time.Second)
	if got := readInt(t, d, "sys/class/power_supply/BAT0/temp") - before; got < 290 || got > 310 {
		t.Errorf("30 K warmer, it shows %d tenths more", got)
	}
}
