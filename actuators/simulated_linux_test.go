package actuators_test

import (
	"context"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"
	"testing/synctest"
	"time"

	"github.com/google/go-cmp/cmp"

	"sweepd/actuators"
	"sweepd/internal/simdevice"
	"sweepd/internal/simlab"
	"sweepd/run"
)

func watts(v float64) actuators.Value  { return actuators.Value{Setting: run.Watts(v)} }
func named(s string) actuators.Value   { return actuators.Value{Setting: run.Named(s)} }
func variant(s string) actuators.Value { return actuators.Value{Text: s} }

// handheld is a simulated device with a panel that may set all of it.
type handheld struct {
	*simdevice.Device
	*actuators.Panel
	first *actuators.FirstValues
}

func newHandheld(t *testing.T, c simdevice.Config, names ...string) handheld {
	t.Helper()
	d, err := simdevice.New(t.TempDir(), c, time.Date(2026, 3, 1, 9, 0, 0, 0, time.UTC))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = d.Close() })
	return panelOf(t, d, names...)
}

// panelOf is a panel for some of what a device has.
func panelOf(t *testing.T, d *simdevice.Device, names ...string) handheld {
	t.Helper()
	first, err := actuators.OpenFirstValues(t.TempDir(), actuators.FirstValuesOptions{Root: d.SysRoot()})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = first.Close() })
	number := func(v float64) *float64 { return &v }
	allowed := map[string]actuators.Limits{}
	for _, name := range names {
		allowed[name] = map[string]actuators.Limits{
			"firmware": {Min: number(5), Max: number(30)}, "powercap": {Min: number(5), Max: number(30)}, "gpu": {Min: number(5), Max: number(30)},
			"profile": {Choices: []string{"low-power", "balanced", "performance"}}, "cores": {Min: number(2)},
			"governor": {Choices: []string{"performance", "powersave", "schedutil"}}, "energy_preference": {Choices: []string{"power", "balance_performance"}},
		}[name]
	}
	sys := d.SysRoot()
	return handheld{d, actuators.NewPanel(actuators.PanelOptions{
		Actuators: []actuators.Actuator{
			actuators.NewFirmware(sys), actuators.NewPowercap(sys), actuators.NewGPU(sys), actuators.NewProfile(sys), actuators.NewCores(sys),
			actuators.NewGovernor(sys), actuators.NewEnergyPreference(sys),
		},
		Machine: &simlab.Machine{Device: d}, FirstValues: first, Allowed: allowed,
	}), first}
}

// settable are the places that differ where something is set, with what they read.
func (h handheld) settable(t *testing.T) map[string]string {
	t.Helper()
	h.Flush()
	seen := map[string]string{}
	err := filepath.WalkDir(h.SysRoot(), func(path string, d fs.DirEntry, err error) error {
		name := filepath.Base(path)
		if err != nil || d.IsDir() || !slices.Contains([]string{"current_value", "power1_cap", "platform_profile", "profile", "online", "scaling_governor", "energy_performance_preference"}, name) && !strings.HasSuffix(name, "_power_limit_uw") {
			return err
		}
		text, err := os.ReadFile(path)
		seen[strings.TrimPrefix(path, h.SysRoot()+"/")] = strings.TrimSpace(string(text))
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return seen
}

func (h handheld) set(t *testing.T, key string, v actuators.Value) error {
	t.Helper()
	writes, err := h.Steps(key, v)
	if err != nil {
		t.Fatalf("%s: %v", v, err)
	}
	for _, w := range writes {
		if err := h.Apply(t.Context(), w); err != nil {
			return err
		}
	}
	return nil
}

func (h handheld) now(name string) string {
	h.Flush()
	for _, o := range h.Offers() {
		if o.Actuator == name {
			return o.Now
		}
	}
	return ""
}

// On a device that moves its limits along, and on one that refuses a limit above the next,
// whose limits are one with those of powercap and graphics and whose profile turns to
// custom, every value is set, holds, and leaves nothing changed.
func TestPanelOnASimulatedDevice(t *testing.T) {
	for name, strict := range map[string]bool{"moves along": false, "strict": true} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) { // waits take no time
				c := simdevice.UnitOak()
				c.StrictLimits = strict
				h := newHandheld(t, c, "firmware", "profile", "cores", "governor", "energy_preference")
				before := h.settable(t)
				for _, step := range []struct {
					key, actuator, want string
					v                   actuators.Value
				}{
					{actuators.SetsSetting, "firmware", "9W", watts(9)},
					{actuators.SetsSetting, "firmware", "28W", watts(28)},
					{actuators.SetsCores, "cores", "5", variant("5")},
					{actuators.SetsGovernor, "governor", "performance", variant("performance")},
					{actuators.SetsGovernor, "governor", "powersave", variant("powersave")},
					{actuators.SetsEnergyPreference, "energy_preference", "power", variant("power")},
					{actuators.SetsSetting, "profile", "low-power", named("low-power")},
					{actuators.SetsCores, "cores", "8", actuators.Value{}},
					{actuators.SetsSetting, "firmware", "20W", watts(20)},
				} {
					if err := h.set(t, step.key, step.v); err != nil {
						t.Fatalf("%s=%s: %v", step.key, step.v, err)
					}
					if got := h.now(step.actuator); got != step.want {
						t.Errorf("%s=%s: %s is %s", step.key, step.v, step.actuator, got)
					}
					if list := h.NotInForce(t.Context()); len(list) > 0 {
						t.Errorf("%s=%s: not in force: %+v", step.key, step.v, list)
					}
				}
				h.RevertLimit()
				h.Flush()
				if list := h.NotInForce(t.Context()); len(list) == 0 || list[0].Actuator != "firmware" {
					t.Errorf("after it reverted: %+v", list)
				}
				if err := h.Restore(t.Context()); err != nil {
					t.Error(err)
				}
				if after := h.settable(t); !cmp.Equal(before, after) {
					t.Errorf("left changed: %s", cmp.Diff(before, after))
				}
			})
		})
	}
}

// The faults of real kernels at each place that can be set: told with the place and the
// reason, within bounded time, and when the fault is over one restore puts all back.
func TestFaultsOnASimulatedDevice(t *testing.T) {
	const attributes = "class/firmware-attributes/sim-firmware/attributes/"
	places := []struct {
		actuator, key, path, text string
		v                         actuators.Value
	}{
		{"firmware", actuators.SetsSetting, attributes + "ppt_pl1_spl/current_value", "9", watts(9)},
		{"powercap", actuators.SetsSetting, "class/powercap/sim-power:0/constraint_0_power_limit_uw", "9000000", watts(9)},
		{"gpu", actuators.SetsSetting, "class/hwmon/hwmon3/power1_cap", "9000000", watts(9)},
		{"profile", actuators.SetsSetting, "class/platform-profile/platform-profile-0/profile", "performance", named("performance")},
		{"cores", actuators.SetsCores, "devices/system/cpu/cpu7/online", "0", variant("5")},
		{"governor", actuators.SetsGovernor, "devices/system/cpu/cpufreq/policy3/scaling_governor", "performance", variant("performance")},
		{"energy_preference", actuators.SetsEnergyPreference, "devices/system/cpu/cpufreq/policy0/energy_performance_preference", "power", variant("power")},
	}
	faults := []struct {
		name  string
		fault simdevice.Fault
		is    error
		says  string // "": none
		most  time.Duration
	}{
		{"busy for a while", simdevice.Fault{Errno: syscall.EBUSY, Times: 3}, nil, "", time.Second},
		{"busy for good", simdevice.Fault{Errno: syscall.EBUSY}, syscall.EBUSY, "tried 6 times", 2 * time.Second},
		{"refused", simdevice.Fault{Errno: syscall.EINVAL}, syscall.EINVAL, "invalid argument", time.Second},
		{"not permitted", simdevice.Fault{Errno: syscall.EACCES}, fs.ErrPermission, "permission denied", time.Second},
		{"unheeded", simdevice.Fault{Keeps: true}, nil, "it was not obeyed", time.Second},
		{"cannot be read", simdevice.Fault{Unread: syscall.EIO}, syscall.EIO, "cannot be read", time.Second},
		{"hangs", simdevice.Fault{Hangs: true}, context.DeadlineExceeded, "deadline exceeded", 12 * time.Second},
	}
	synctest.Test(t, func(t *testing.T) { // waits take no time
		d := newHandheld(t, simdevice.UnitOak())
		before := d.settable(t)
		for _, c := range faults {
			for _, place := range places {
				h := panelOf(t, d.Device, place.actuator)
				path, err := filepath.EvalSymlinks(filepath.Join(h.SysRoot(), place.path))
				if err != nil {
					t.Fatal(err)
				}
				if err := h.Plant(path, c.fault); err != nil {
					t.Fatal(err)
				}
				begun := time.Now()
				err = h.set(t, place.key, place.v)
				switch {
				case c.says == "" && err != nil, c.says != "" && (err == nil || !strings.Contains(err.Error(), c.says) || !strings.Contains(err.Error(), filepath.Base(filepath.Dir(place.path)))):
					t.Errorf("%s: got %v\nwant %q of %s", c.name, err, c.says, place.path)
				case c.is != nil && !errors.Is(err, c.is):
					t.Errorf("%s, %s: %v is not %v", c.name, place.actuator, err, c.is)
				case time.Since(begun) > c.most:
					t.Errorf("%s, %s: took %v, want at most %v", c.name, place.actuator, time.Since(begun), c.most)
				}
				if c.fault.Hangs { // what hangs may come yet: it is not put back so far
					if err := h.Restore(t.Context()); !errors.Is(err, actuators.ErrNoAnswer) || len(h.first.Pending()) == 0 {
						t.Errorf("%s, %s: %v, keeps %d", c.name, place.actuator, err, len(h.first.Pending()))
					}
				}
				if err := h.Mend(path); err != nil {
					t.Fatal(err)
				}
				synctest.Wait() // until what hung came through
				if err := h.Restore(t.Context()); err != nil {
					t.Errorf("%s, %s: %v", c.name, place.actuator, err)
				}
				if after := h.settable(t); !cmp.Equal(before, after) || len(h.first.Pending()) > 0 {
					t.Fatalf("%s, %s left changed: %s", c.name, place.actuator, cmp.Diff(before, after))
				}
				_ = h.first.Close()
			}
		}
	})
}
