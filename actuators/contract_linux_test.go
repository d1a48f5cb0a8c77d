package actuators

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"

	"github.com/google/go-cmp/cmp"

	"sweepd/run"
)

func watt(v float64) Value   { return Value{Setting: run.Watts(v)} }
func name(s string) Value    { return Value{Setting: run.Named(s)} }
func pair(s string) Value    { return Value{Text: s} }
func num(v float64) *float64 { return &v }

// contractRows are what every actuator is held to.
var contractRows = []struct {
	name    string
	make    func(root string) Actuator
	sets    string
	now     string
	present Value // what the tree has
	within  Limits
	values  []Value // that go
	then    string  // Now after the last of them
	refused map[string]Value
	places  []string // of the tree
	parts   []string // of the tree that it needs
}{
	{"firmware", NewFirmware, SetsSetting, "15W", Value{}, Limits{Min: num(6), Max: num(40)}, []Value{watt(10), watt(30), watt(12)}, "12W",
		map[string]Value{
			"5 to 30W, not 31W":                                 watt(31),
			"5 to 30W in steps of 1W, not 12.5W":                watt(12.5),
			"below the least that the configuration allows, 6W": watt(5),
			"above the most that the configuration allows, 40W": watt(41),
			"not a number of watts":                             name("quiet"),
		},
		[]string{"class/firmware-attributes/firmware/attributes/ppt_pl1_spl/current_value", "class/firmware-attributes/firmware/attributes/ppt_pl2_sppt/current_value", "class/firmware-attributes/firmware/attributes/ppt_pl3_fppt/current_value"},
		[]string{"class/firmware-attributes/"}},
	{"powercap", NewPowercap, SetsSetting, "15W", Value{}, Limits{Min: num(6), Max: num(40)}, []Value{watt(10), watt(28), watt(12.5)}, "12.5W",
		map[string]Value{"up to 28W, not 30W": watt(30), "not a number of watts": name("quiet")},
		[]string{"class/powercap/rapl-mmio:0/constraint_0_power_limit_uw", "class/powercap/rapl:0/constraint_0_power_limit_uw", "class/powercap/rapl:0/constraint_1_power_limit_uw"},
		[]string{"class/powercap/"}},
	{"gpu", NewGPU, SetsSetting, "15W", watt(15), Limits{Min: num(6), Max: num(40)}, []Value{watt(10), watt(30)}, "30W",
		map[string]Value{"4 to 30W, not 31W": watt(31), "in steps of 1W, not 12.5W": watt(12.5)},
		[]string{"devices/pci0000:00/0000:04:00.0/hwmon/hwmon5/power1_cap"},
		[]string{"devices/pci0000:00/", "class/drm/"}},
	{"profile", NewProfile, SetsSetting, "balanced", name("balanced"), Limits{Choices: []string{"low-power", "balanced", "quiet", "custom"}}, []Value{name("low-power")}, "low-power",
		map[string]Value{
			`takes low-power, balanced, performance, custom, not "quiet"`:                   name("quiet"),
			`"performance" is none of the choices that the configuration allows: low-power`: name("performance"),
		},
		[]string{"devices/platform/firmware.0/platform-profile/platform-profile-0/profile", "devices/platform/other.0/platform-profile/platform-profile-1/profile"},
		[]string{"devices/platform/", "class/platform-profile/", "firmware/"}},
	{"cores", NewCores, SetsCores, "8", pair("8"), Limits{Min: num(2), Max: num(7)}, []Value{pair("6"), pair("2"), pair("3")}, "3",
		map[string]Value{
			"9 processors do not go: this machine has 8, of which 1 cannot go offline": pair("9"),
			"0 processors do not go":  pair("0"),
			"1 is below the least":    pair("1"),
			"8 is above the most":     pair("8"),
			"no number of processors": pair("six"),
			`"2.5" is no number`:      pair("2.5"),
		},
		[]string{"devices/system/cpu/cpu1/online", "devices/system/cpu/cpu2/online", "devices/system/cpu/cpu3/online", "devices/system/cpu/cpu4/online", "devices/system/cpu/cpu5/online", "devices/system/cpu/cpu6/online", "devices/system/cpu/cpu7/online"},
		[]string{"devices/system/cpu/"}},
	{"governor", NewGovernor, SetsGovernor, "powersave", pair("powersave"), Limits{Choices: []string{"performance", "powersave", "schedutil"}}, []Value{pair("performance")}, "performance",
		map[string]Value{`takes performance, powersave, not "schedutil"`: pair("schedutil"), `"turbo" is none of the choices`: pair("turbo")},
		[]string{"devices/system/cpu/cpufreq/policy0/scaling_governor", "devices/system/cpu/cpufreq/policy4/scaling_governor"},
		[]string{"devices/system/cpu/cpufreq/"}},
	{"energy_preference", NewEnergyPreference, SetsEnergyPreference, "balance_performance", pair("balance_performance"), Limits{Choices: []string{"power", "default", "balance_performance"}}, []Value{pair("power")}, "power",
		map[string]Value{`"default" stands for one of the others`: pair("default"), `"performance" is none of the choices`: pair("performance")},
		[]string{"devices/system/cpu/cpufreq/policy0/energy_performance_preference", "devices/system/cpu/cpufreq/policy4/energy_performance_preference"},
		[]string{"devices/system/cpu/cpufreq/"}},
}

// Every actuator offers what the tree has, sets the values that go, each write within its
// known places, refuses the others with a reason, and is missing, with a reason, where there
// is nothing.
func TestContract(t *testing.T) {
	for _, row := range contractRows {
		t.Run(row.name, func(t *testing.T) {
			root := madeTree(t, nil, row.parts...)
			a := row.make(root)
			if a.Name() != row.name || a.Sets() != row.sets {
				t.Errorf("got %s, sets %s", a.Name(), a.Sets())
			}
			before := contents(t, root)
			o := a.Offer()
			if o.Now != row.now || o.Missing != "" || !o.Writable || o.Needs != "" || o.Choices == nil {
				t.Errorf("got %+v", o)
			}
			var places []string
			for _, p := range row.places {
				places = append(places, filepath.Join(root, p))
			}
			if got := slices.Sorted(slices.Values(o.Sources)); !slices.Equal(got, places) {
				t.Errorf("sources: %s", cmp.Diff(places, got))
			}
			for want, v := range row.refused {
				if w, err := a.Writes(v, row.within); err == nil || !strings.Contains(err.Error(), want) {
					t.Errorf("%s: got %v, %v\nwant %q", v, w, err, want)
				}
			}
			if row.present != (Value{}) {
				within := row.within
				within.Max = nil
				if w, err := a.Writes(row.present, within); err != nil || len(w) != 0 {
					t.Errorf("of what it has already: got %v, %v", w, err)
				}
			}
			if after := contents(t, root); !cmp.Equal(before, after) {
				t.Errorf("looking wrote: %s", cmp.Diff(before, after))
			}
			host := Host{Sys: root}
			for _, v := range row.values {
				writes, err := a.Writes(v, row.within)
				if err != nil || len(writes) == 0 {
					t.Fatalf("%s: got %v, %v", v, writes, err)
				}
				for _, w := range writes {
					if !slices.Contains(places, w.Path) || w.Actuator != row.name || w.Was == "" {
						t.Errorf("%s: got %+v", v, w)
					}
					if err := host.Write(t.Context(), w); err != nil {
						t.Errorf("%s: %v", v, err)
					}
				}
				if w, err := a.Writes(v, row.within); err != nil || len(w) != 0 {
					t.Errorf("%s, set already: got %v, %v", v, w, err)
				}
			}
			if o := a.Offer(); o.Now != row.then {
				t.Errorf("now %s, want %s", o.Now, row.then)
			}
		})
	}
}

// What is not there is missing and says so; a place that cannot be read is never taken for
// one that has nothing, and nothing is made of it.
func TestContractOfWhatIsMissing(t *testing.T) {
	for _, row := range contractRows {
		t.Run(row.name, func(t *testing.T) {
			empty := row.make(t.TempDir())
			o := empty.Offer()
			if o.Missing == "" || o.Writable || o.Now != "" || o.Sources == nil || o.Choices == nil {
				t.Errorf("without anything: got %+v", o)
			}
			if w, err := empty.Writes(row.values[0], row.within); err == nil || len(w) > 0 {
				t.Errorf("without anything: got %v, %v", w, err)
			}
			for _, place := range row.places {
				root := madeTree(t, map[string]string{place: strings.Repeat("x", fileMost+1)}, row.parts...)
				a := row.make(root)
				if o := a.Offer(); o.Missing == "" || !strings.Contains(o.Missing, place) {
					t.Errorf("%s spoilt: got %+v", place, o)
				}
				if w, err := a.Writes(row.values[0], row.within); err == nil || len(w) > 0 {
					t.Errorf("%s spoilt: got %v, %v", place, w, err)
				}
			}
		})
	}
}

// An ordinary user may look, and is told what would be needed to set anything.
func TestContractWithoutTheRightToWrite(t *testing.T) {
	for _, row := range contractRows {
		t.Run(row.name, func(t *testing.T) {
			root := madeTree(t, nil, row.parts...)
			for _, place := range row.places {
				if err := os.Chmod(filepath.Join(root, place), 0o444); err != nil {
					t.Fatal(err)
				}
			}
			a := row.make(root)
			asNobody(t, root, func() {
				if o := a.Offer(); o.Writable || o.Missing != "" || o.Now != row.now || !strings.Contains(o.Needs, "may not write to ") {
					t.Errorf("got %+v", o)
				}
				w, err := a.Writes(row.values[0], row.within)
				if err != nil || len(w) == 0 {
					t.Fatalf("a dry run needs the writes: got %v, %v", w, err)
				}
				if err := (Host{Sys: root}).Write(t.Context(), w[0]); !errors.Is(err, os.ErrPermission) {
					t.Errorf("got %v", err)
				}
			})
		})
	}
}

// asNobody runs f with the file rights of a user who owns nothing, where the tests run as
// root; as anybody else f runs as it is.
func asNobody(t *testing.T, root string, f func()) {
	t.Helper()
	const nobody = 65534
	if os.Getuid() == 0 {
		for dir := root; dir != os.TempDir() && dir != "/"; dir = filepath.Dir(dir) { // closed to others by testing
			if err := os.Chmod(dir, 0o755); err != nil {
				t.Fatal(err)
			}
		}
		if err := syscall.Seteuid(nobody); err != nil {
			t.Fatal(err)
		}
		defer func() {
			if err := syscall.Seteuid(0); err != nil {
				panic(err) // the tests would go on as somebody else
			}
		}()
	}
	f()
}

func texts(writes []Write) []string {
	var list []string
	for _, w := range writes {
		parts := strings.Split(w.Path, "/")
		again := ""
		if w.Again {
			again = " again"
		}
		list = append(list, fmt.Sprintf("%s %s>%s%s", strings.Join(parts[len(parts)-2:], "/"), w.Was, w.Text, again))
	}
	return list
}
