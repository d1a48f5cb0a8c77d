package simdevice

import (
	"bytes"
	"os"
	"testing"
	"time"
)

// TestBreakAndRepair: every kind of breakage shows to readers that keep the file
// open and to new ones, and is gone after the repair.
func TestBreakAndRepair(t *testing.T) {
	const path = "sys/class/hwmon/hwmon1/temp1_input"
	for how, want := range map[Breakage]func(text []byte, err error) bool{
		Removed:  func(_ []byte, err error) bool { return os.IsNotExist(err) },
		IsFolder: func(_ []byte, err error) bool { return err != nil && !os.IsNotExist(err) },
		Empty:    func(text []byte, err error) bool { return err == nil && len(text) == 0 },
		Garbage:  func(text []byte, _ error) bool { return bytes.ContainsAny(text, "aeiou") },
		Binary:   func(text []byte, _ error) bool { return bytes.IndexByte(text, 0) >= 0 },
		Huge:     func(text []byte, _ error) bool { return len(text) == 1<<20 },
		Unknown:  func(text []byte, _ error) bool { return string(text) == "<unknown>\n" },
		Frozen:   func(text []byte, _ error) bool { return len(text) > 3 },
	} {
		d := newDevice(t, UnitOak())
		name := d.tree.full(path)
		open, err := os.Open(name)
		if err != nil {
			t.Fatal(err)
		}
		defer open.Close()
		if err := d.BreakFile(path, how); err != nil {
			t.Fatal(err)
		}
		first, err := os.ReadFile(name)
		if !want(first, err) {
			t.Errorf("breakage %d: a new reader gets %.40q, %v", how, first, err)
		}
		d.StartWorkload(HarbourFlight())
		pass(t, d, 10*time.Second)
		if again, _ := os.ReadFile(name); !bytes.Equal(first, again) {
			t.Errorf("breakage %d: the file became %.40q", how, again)
		}
		buf := make([]byte, 16)
		if n, _ := open.ReadAt(buf, 0); (how == Removed || how == IsFolder || how == Empty) && n != 0 {
			t.Errorf("breakage %d: an old reader still gets %q", how, buf[:n])
		}
		if err := d.Repair(path); err != nil {
			t.Fatal(err)
		}
		pass(t, d, time.Second)
		if got, truth := float64(readInt(t, d, path)), d.Truth().DieC*1000; got < truth-63 || got > truth+63 {
			t.Errorf("breakage %d: repaired, the file says %v, the truth is %v", how, got, truth)
		}
	}
}

// TestPulledBattery: its folder and its hwmon vanish, links included, an open
// reader gets nothing more, and all is back after it was inserted.
func TestPulledBattery(t *testing.T) {
	cfg := UnitOak()
	cfg.Batteries = append(cfg.Batteries, BatteryConfig{FullWh: 20})
	d := newDevice(t, cfg)
	content := "sys/class/power_supply/BAT1/energy_now"
	open, err := os.Open(d.tree.full(content))
	if err != nil {
		t.Fatal(err)
	}
	defer open.Close()
	there := func(want bool) {
		t.Helper()
		for _, path := range []string{"sys/class/power_supply/BAT1", content, "sys/class/hwmon/hwmon6"} {
			if _, err := os.Lstat(d.tree.full(path)); (err == nil) != want {
				t.Errorf("%s: %v, want there: %v", path, err, want)
			}
		}
		readInt(t, d, "sys/class/power_supply/BAT0/energy_now")
	}
	there(true)
	if err := d.PullBattery("BAT1"); err != nil {
		t.Fatal(err)
	}
	pass(t, d, 5*time.Second)
	there(false)
	if n, _ := open.ReadAt(make([]byte, 16), 0); n != 0 {
		t.Error("an old reader still gets the content")
	}
	if err := d.InsertBattery("BAT1"); err != nil {
		t.Fatal(err)
	}
	pass(t, d, 5*time.Second)
	there(true)
	if got := read(t, d, "sys/class/power_supply/BAT1/status"); got != "Discharging" {
		t.Errorf("inserted, its status is %q", got)
	}
	readInt(t, d, "sys/class/hwmon/hwmon6/in0_input")
}

func TestBreakingNothing(t *testing.T) {
	d := newDevice(t, UnitOak())
	if err := d.BreakFile("sys/class/nothing/here", Empty); err == nil {
		t.Error("no error for a file that does not exist")
	}
	if err := d.BreakFile("sys/class/power_supply/BAT0", Garbage); err == nil {
		t.Error("no error for a folder that should hold garbage")
	}
	if err := d.Repair("sys/class/nothing/here"); err == nil {
		t.Error("no error for a repair of nothing")
	}
	if err := plain(t, Config{}).BreakFile("sys/x", Empty); err == nil {
		t.Error("no error for a device without files")
	}
}
