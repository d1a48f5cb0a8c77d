package simlab_test

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"
	"testing/synctest"
	"time"

	"sweepd/actuators"
	"sweepd/internal/simdevice"
	"sweepd/internal/simlab"
)

// Files of the simulated device.
const (
	sustainedLimit = "sys/class/firmware-attributes/sim-firmware/attributes/ppt_pl1_spl/current_value"
	fastLimit      = "sys/class/firmware-attributes/sim-firmware/attributes/ppt_pl3_fppt/current_value"
	lastCPU        = "sys/devices/system/cpu/cpu7/online"
	dieSensor      = "sys/class/hwmon/hwmon1/temp1_input"
)

func newMachine(t *testing.T) (*simlab.Machine, actuators.Write) {
	t.Helper()
	d, err := simdevice.New(t.TempDir(), simdevice.UnitOak(), time.Now())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { d.Close() })
	return &simlab.Machine{Device: d}, actuators.Write{Actuator: "firmware", Path: filepath.Join(filepath.Dir(d.SysRoot()), sustainedLimit), Text: "25", Was: "15"}
}

// What is written is obeyed and put back, and nothing that is not of the device is written,
// whatever path or link leads there.
func TestMachineWritesItsDeviceAlone(t *testing.T) {
	m, w := newMachine(t)
	ctx := t.Context()
	for _, c := range []struct {
		do   func(context.Context, actuators.Write) error
		want string
	}{{m.Write, "25"}, {m.PutBack, "15"}} {
		if err := c.do(ctx, w); err != nil {
			t.Error(err)
		}
		if got, err := m.Read(ctx, w); got != c.want || err != nil {
			t.Errorf("it reads %q, %v, want %q", got, err, c.want)
		}
	}
	outside := filepath.Join(t.TempDir(), "current_value")
	link := filepath.Join(m.Device.SysRoot(), "class", "elsewhere")
	if err := errors.Join(os.WriteFile(outside, []byte("15\n"), 0o644), os.Symlink(filepath.Dir(outside), link)); err != nil {
		t.Fatal(err)
	}
	for _, path := range []string{outside, filepath.Join(link, "current_value"), "/sys/firmware/acpi/platform_profile", filepath.Join(m.Device.SysRoot(), "../../../../../../sys/power/state")} {
		w.Path = path
		if m.Write(ctx, w) == nil || m.PutBack(ctx, w) == nil {
			t.Errorf("%s is written", path)
		}
	}
	if text, err := os.ReadFile(outside); string(text) != "15\n" || err != nil {
		t.Errorf("outside reads %q, %v", text, err)
	}
	w = actuators.Write{Actuator: "command", Command: []string{"setter", "{}"}, Back: []string{"back", "{}"}, Reading: []string{"getter"}, Text: "25", Was: "15"}
	if err := m.Write(ctx, w); err == nil || !strings.Contains(err.Error(), "setter: the simulated device has no commands") {
		t.Errorf("a command: %v", err)
	}
	var ran []string
	m.Command = func(_ context.Context, args []string) (string, error) {
		ran = append(ran, strings.Join(args, " "))
		return "25\n", nil
	}
	now, err := m.Read(ctx, w)
	if err := errors.Join(err, m.Write(ctx, w), m.PutBack(ctx, w)); err != nil || now != "25" || !slices.Equal(ran, []string{"getter", "setter 25", "back 15"}) {
		t.Errorf("commands: %v, %q, %v", ran, now, err)
	}
}

// A write that hangs in its driver may come through at any time: until then the first value
// is kept, whatever the place reads, and after that it is put back.
func TestAWriteThatComesThroughLateIsPutBack(t *testing.T) {
	m, w := newMachine(t)
	sys, dir := m.Device.SysRoot(), t.TempDir()
	synctest.Test(t, func(t *testing.T) {
		first, err := actuators.OpenFirstValues(dir, actuators.FirstValuesOptions{Root: sys})
		if err != nil {
			t.Fatal(err)
		}
		defer first.Close()
		panel := actuators.NewPanel(actuators.PanelOptions{Actuators: allActuators(sys), Machine: m, FirstValues: first, Allowed: map[string]actuators.Limits{"firmware": {}}})
		fast := actuators.Write{Actuator: "firmware", Path: filepath.Join(filepath.Dir(sys), fastLimit), Text: "20", Was: "18"}
		if err := panel.Apply(t.Context(), fast); err != nil {
			t.Fatal(err)
		}
		if err := m.Device.Plant(sustainedLimit, simdevice.Fault{Hangs: true, Times: 1}); err != nil {
			t.Fatal(err)
		}
		if err := panel.Apply(t.Context(), w); !errors.Is(err, actuators.ErrNoAnswer) {
			t.Errorf("set: %v", err)
		}
		began := time.Now()
		if err := panel.Restore(t.Context()); !errors.Is(err, actuators.ErrNoAnswer) || time.Since(began) > 15*time.Second {
			t.Errorf("put back while it hangs: %v after %v", err, time.Since(began))
		}
		if len(first.Pending()) == 0 {
			t.Error("the first value is forgotten while it hangs")
		}
		if err := m.Device.Mend(sustainedLimit); err != nil {
			t.Fatal(err)
		}
		synctest.Wait()
		if now, _ := m.Read(t.Context(), w); now != "25" {
			t.Errorf("come through, it reads %q", now)
		}
		if err := panel.Restore(t.Context()); err != nil {
			t.Error(err)
		}
		if now, _ := m.Read(t.Context(), w); now != "15" || len(first.Pending()) > 0 {
			t.Errorf("put back, it reads %q, and is kept: %v", now, first.Pending())
		}
		if now, _ := m.Read(t.Context(), fast); now != "18" {
			t.Errorf("a limit that was moved along reads %q", now)
		}
	})
}

// What moves along with a limit is back in the end, also where one of the limits could be
// put back only later.
func TestWhatMovesAlongIsPutBackLast(t *testing.T) {
	m, w := newMachine(t)
	sys := m.Device.SysRoot()
	profile := actuators.Write{Path: filepath.Join(sys, "firmware", "acpi", "platform_profile")}
	first, err := actuators.OpenFirstValues(t.TempDir(), actuators.FirstValuesOptions{Root: sys})
	if err != nil {
		t.Fatal(err)
	}
	defer first.Close()
	panel := actuators.NewPanel(actuators.PanelOptions{Actuators: allActuators(sys), Machine: m, FirstValues: first, Allowed: map[string]actuators.Limits{"firmware": {}}})
	if err := errors.Join(panel.Apply(t.Context(), w), m.Device.Plant(sustainedLimit, simdevice.Fault{Unread: syscall.EIO})); err != nil {
		t.Fatal(err)
	}
	if now, _ := m.Read(t.Context(), profile); now != "custom" {
		t.Fatalf("the profile is %q, so it does not move", now)
	}
	if err := panel.Restore(t.Context()); !errors.Is(err, syscall.EIO) {
		t.Errorf("put back while it cannot be read: %v", err)
	}
	if err := errors.Join(m.Device.Mend(sustainedLimit), panel.Restore(t.Context())); err != nil {
		t.Error(err)
	}
	if now, _ := m.Read(t.Context(), profile); now != "balanced" || len(first.Pending()) > 0 {
		t.Errorf("put back, the profile is %q, and kept are %v", now, first.Pending())
	}
}

// allActuators are those of a Linux system, as cmd lists them.
func allActuators(sys string) []actuators.Actuator {
	return []actuators.Actuator{actuators.NewFirmware(sys), actuators.NewPowercap(sys), actuators.NewGPU(sys), actuators.NewProfile(sys),
		actuators.NewCores(sys), actuators.NewGovernor(sys), actuators.NewEnergyPreference(sys)}
}
