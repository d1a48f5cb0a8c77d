package deploy

import (
	"encoding/json"
	"fmt"
	"maps"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// wineSuites are the packages whose tests run under Wine too.
var wineSuites = []string{"agent", "analysis", "collectors", "console", "exporter", "schedule", "store"}

// A battery of 49.45 of 50.06 Wh at 12.229 V that gives 4.83 W, as files of the
// kernel's class (Documentation/ABI/testing/sysfs-class-power). Wine reads charge
// and current, not energy and power.
var wineSupply = map[string]string{
	"ADP0/type": "Mains", "ADP0/online": "0",
	"BAT0/type": "Battery", "BAT0/present": "1", "BAT0/status": "Discharging", "BAT0/capacity": "98",
	"BAT0/voltage_now": "12229000", "BAT0/current_now": "394963", "BAT0/charge_now": "4043667", "BAT0/charge_full": "4093548",
}

// TestWindowsUnderWine runs the Windows program under Debian's Wine, on a simulated
// battery that Wine takes for the kernel's.
func TestWindowsUnderWine(t *testing.T) {
	need(t, "/usr/lib/wine/wine64", "x86_64-w64-mingw32-gcc", "unshare", "ip")
	if os.Geteuid() != 0 {
		t.Skip("needs root for a mount namespace")
	}
	work := t.TempDir()
	windows := []string{"GOOS=windows", "GOARCH=amd64", "CGO_ENABLED=0"}
	command(t, append(windows, "VERSION="+testVersion), "deploy/build", filepath.Join(work, "sweepd.exe"))
	for _, suite := range wineSuites {
		command(t, windows, "go", "test", "-c", "-o", filepath.Join(work, suite+".test.exe"), "./"+suite)
	}
	command(t, nil, "x86_64-w64-mingw32-gcc", "-shared", "-o", filepath.Join(work, "bcryptprimitives.dll"), "deploy/testdata/bcryptprimitives.c", "-ladvapi32")
	for name, text := range wineSupply {
		path := filepath.Join(work, "supply", name)
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			t.Fatal(err)
		}
		write(t, path, text+"\n")
	}
	// Wine 8 was seen to lose a program at its start, once in twenty tries.
	if out, ok := underWine(work); !ok {
		t.Logf("once more after: %s", out)
		if out, ok = underWine(work); !ok {
			t.Fatalf("%s", out)
		}
	}
	checkWineSensors(t, filepath.Join(work, "sensors.json"))
	checkWineRuns(t, filepath.Join(work, "runs.json"), filepath.Join(work, "imported.json"))
}

// underWine runs wine.sh in namespaces of its own, in a fresh Wine.
func underWine(work string) (out string, ok bool) {
	_ = os.RemoveAll(filepath.Join(work, "prefix"))
	cmd := exec.Command("unshare", "--mount", "--net", "--pid", "--fork", "--kill-child", "--mount-proc", "deploy/testdata/wine.sh", work)
	cmd.Dir = ".."
	text, err := cmd.CombinedOutput()
	return fmt.Sprintf("%s\n%v", text, err), err == nil && strings.HasSuffix(string(text), "\nPASSED\n")
}

func readJSON(t *testing.T, file string, v any) {
	t.Helper()
	text, err := os.ReadFile(file)
	if err == nil {
		err = json.Unmarshal(text, v)
	}
	if err != nil {
		t.Fatal(err)
	}
}

// checkWineSensors: 1 Wh is 3600 J; Wine multiplies charge and voltage.
func checkWineSensors(t *testing.T, file string) {
	t.Helper()
	var list []struct {
		Sensor string
		Value  *float64
	}
	readJSON(t, file, &list)
	got := map[string]float64{}
	for _, s := range list {
		got[s.Sensor] = math.NaN()
		if s.Value != nil {
			got[s.Sensor] = *s.Value
		}
	}
	for sensor, want := range map[string]float64{"supply_online": 0, "battery_power_watts": 4.83, "battery_energy_joules": 49.45 * 3600,
		"battery_energy_full_joules": 50.06 * 3600, "battery_charge_ratio": 49.45 / 50.06, "battery_direction": 1} {
		if v, ok := got[sensor]; !ok || !(math.Abs(v-want) <= 2e-4*want) {
			t.Errorf("%s is %v, want %v; all: %v", sensor, v, want, slices.Sorted(maps.Keys(got)))
		}
	}
}

func checkWineRuns(t *testing.T, file, imported string) {
	t.Helper()
	type run struct {
		Supply, State string
		Findings      []struct{ Code string }
	}
	var runs, copies []run
	readJSON(t, file, &runs)
	readJSON(t, imported, &copies)
	var got []string
	for _, r := range runs {
		codes := []string{r.Supply, r.State}
		for _, f := range r.Findings {
			if f.Code == "supply_changed" {
				codes = append(codes, f.Code)
			}
		}
		got = append(got, strings.Join(codes, " "))
	}
	slices.Sort(got)
	if want := []string{"battery finished", "battery rejected supply_changed", "mains finished"}; !slices.Equal(got, want) {
		t.Errorf("runs are %q, want %q", got, want)
	}
	if len(copies) != len(runs) {
		t.Errorf("%d of %d runs came through a table", len(copies), len(runs))
	}
}
