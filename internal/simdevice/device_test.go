package simdevice

import (
	"context"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"testing"
	"time"
)

var day = time.Date(2026, 5, 4, 9, 0, 0, 0, time.UTC)

// newDevice makes a device with a tree that is removed after the test.
func newDevice(t testing.TB, cfg Config) *Device {
	t.Helper()
	if runtime.GOOS == "windows" {
		t.Skip("names with colons, as sysfs has them, cannot be made on Windows")
	}
	dir, err := MakeTempDir("test")
	if err != nil {
		t.Fatal(err)
	}
	d, err := New(dir, cfg, day)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := d.Close(); err != nil {
			t.Error(err)
		}
		os.RemoveAll(dir)
	})
	return d
}

// read returns a file of the tree without its last line feed.
func read(t testing.TB, d *Device, path string) string {
	t.Helper()
	raw, err := os.ReadFile(filepath.Join(d.tree.root, filepath.FromSlash(path)))
	if err != nil {
		t.Fatal(err)
	}
	if len(raw) > 0 && raw[len(raw)-1] != '\n' {
		t.Errorf("%s: %q has no line feed at its end", path, raw)
	}
	return strings.TrimSuffix(string(raw), "\n")
}

func readInt(t testing.TB, d *Device, path string) int64 {
	t.Helper()
	v, err := strconv.ParseInt(read(t, d, path), 10, 64)
	if err != nil {
		t.Fatalf("%s: %v", path, err)
	}
	return v
}

// pass advances and flushes as a sampling loop does.
func pass(t testing.TB, d *Device, span time.Duration) {
	t.Helper()
	for range span / (250 * time.Millisecond) {
		d.Advance(250 * time.Millisecond)
		if err := d.Flush(); err != nil {
			t.Fatal(err)
		}
	}
}

// TestTreeShowsTruth reads the files in the units of the kernel's documents and
// finds the model's own numbers in them.
func TestTreeShowsTruth(t *testing.T) {
	cfg := UnitOak()
	cfg.Batteries[0].GaugeNoise = -1
	d := newDevice(t, cfg)
	d.SetLimit(25)
	d.StartWorkload(HarbourFlight())
	pass(t, d, time.Minute)
	truth := d.Truth()
	within := func(what string, got, want, tolerance float64) {
		t.Helper()
		if math.Abs(got-want) > tolerance {
			t.Errorf("%s: the file says %v, the truth is %v", what, got, want)
		}
	}
	bat := "sys/class/power_supply/BAT0/"
	within("energy_now, µWh", float64(readInt(t, d, bat+"energy_now")), truth.ContentJ/3600*1e6, 5001+truth.SystemW/3600*1e6)
	within("power_now, µW", float64(readInt(t, d, bat+"power_now")), truth.SystemW*1e6, 1e6)
	within("energy_uj, µJ", float64(readInt(t, d, "sys/class/powercap/sim-power:0/energy_uj")), truth.PackageJ*1e6, 1)
	within("zone temp, m°C", float64(readInt(t, d, "sys/class/thermal/thermal_zone1/temp")), truth.DieC*1000, 501)
	within("hwmon temp, m°C", float64(readInt(t, d, "sys/class/hwmon/hwmon1/temp1_input")), truth.DieC*1000, 63)
	within("fan, 1/min", float64(readInt(t, d, "sys/class/hwmon/hwmon4/fan1_input")), truth.FanRPM, 0.51)
	limit := "sys/class/firmware-attributes/sim-firmware/attributes/ppt_pl1_spl/current_value"
	within("ppt_pl1_spl, W", float64(readInt(t, d, limit)), 25, 0)
	within("constraint, µW", float64(readInt(t, d, "sys/class/powercap/sim-power:0/constraint_0_power_limit_uw")), 25e6, 0)
	if got := read(t, d, bat+"status"); got != "Discharging" {
		t.Errorf("status on battery is %q", got)
	}
}

// TestAdvanceWithClock: the device goes along with a clock until it is told to stop.
func TestAdvanceWithClock(t *testing.T) {
	d := newDevice(t, UnitOak())
	ctx, stop := context.WithCancel(context.Background())
	now := day
	err := d.AdvanceWithClock(ctx, time.Millisecond, func() time.Time {
		if now = now.Add(time.Second); now.Sub(day) >= 10*time.Second {
			stop()
		}
		return now
	})
	if err != nil {
		t.Fatal(err)
	}
	if got := d.Now().Sub(day); got < 10*time.Second {
		t.Errorf("after 10 s of the clock the device is at %v", got)
	}
	if read(t, d, "proc/uptime")[:6] != "3610.0" {
		t.Errorf("uptime is %s", read(t, d, "proc/uptime"))
	}
}

// TestChargerControls: Plug plugs the charger in and Unplug pulls it out, however
// it was before, and the files say so (kernel, Documentation/ABI/testing/
// sysfs-class-power: online is 0 when offline and 1 when fixed online; Linux 6.1).
func TestChargerControls(t *testing.T) {
	d := newDevice(t, UnitOak())
	for i, step := range []struct {
		name    string
		control func()
		onMains bool
	}{
		{"Plug", d.Plug, true}, {"Plug", d.Plug, true},
		{"Unplug", d.Unplug, false}, {"Unplug", d.Unplug, false},
		{"Plug", d.Plug, true}, {"Unplug", d.Unplug, false},
	} {
		step.control()
		truth := d.Truth()
		if truth.OnMains != step.onMains || (truth.MainsW > 0) != step.onMains || (truth.DischargeW > 0) == step.onMains {
			t.Errorf("step %d, %s: on mains %v, %v W from it, %v W from the battery", i, step.name, truth.OnMains, truth.MainsW, truth.DischargeW)
		}
		d.Advance(time.Minute)
		if err := d.Flush(); err != nil {
			t.Fatal(err)
		}
		if got := readInt(t, d, "sys/class/power_supply/ADP0/online"); got != flag(step.onMains) {
			t.Errorf("step %d, %s: the adapter's online is %d", i, step.name, got)
		}
	}
}

// TestConcurrentUse is for the race detector.
func TestConcurrentUse(t *testing.T) {
	d := newDevice(t, UnitOak())
	done := make(chan error)
	go func() {
		for range 200 {
			d.Advance(timeStep)
			if err := d.Flush(); err != nil {
				done <- err
				return
			}
		}
		done <- nil
	}()
	for i := range 50 {
		d.SetLimit(float64(10 + i%20))
		d.Plug()
		d.Truth()
		d.Unplug()
		d.StartWorkload(HarbourFlight())
		d.StopWorkload()
	}
	if err := <-done; err != nil {
		t.Fatal(err)
	}
}

// TestClose: closing twice is harmless, and no file stays open.
func TestClose(t *testing.T) {
	d := newDevice(t, UnitOak())
	if err := d.Close(); err != nil {
		t.Fatal(err)
	}
	if err := d.Close(); err != nil {
		t.Error(err)
	}
	if _, err := os.Stat(d.SysRoot()); err != nil {
		t.Errorf("Close removed the tree: %v", err)
	}
}

// BenchmarkSweep is the cost of one sweep's worth of simulation; the aim is less
// than 60 µs, so that a test day of 60,000 sweeps takes under 4 s.
func BenchmarkSweep(b *testing.B) {
	d := newDevice(b, UnitOak())
	d.StartWorkload(HarbourFlight())
	b.ReportAllocs()
	for b.Loop() {
		d.Advance(250 * time.Millisecond)
		if err := d.Flush(); err != nil {
			b.Fatal(err)
		}
		if d.Truth().ChargeRatio < 0.2 {
			d.SetCharge(1)
		}
	}
}

// BenchmarkModel is the physics alone.
func BenchmarkModel(b *testing.B) {
	d, err := New("", UnitOak(), day)
	if err != nil {
		b.Fatal(err)
	}
	d.StartWorkload(HarbourFlight())
	d.Plug()
	for b.Loop() {
		d.Advance(250 * time.Millisecond)
	}
}
