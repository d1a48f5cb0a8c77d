package deploy

import (
	"encoding/json"
	"fmt"
	"maps"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// wineSuites are the packages whose tests run under Wine too.
var wineSuites = []string{"agent", "analysis", "cmd/sweepd", "collectors", "console", "exporter", "judge", "run", "schedule", "store/sqlite", "testday"}

// A battery of 49.45 of 50.06 Wh at 12.229 V that gives 4.83 W, as files of the
// kernel's class (Documentation/ABI/testing/sysfs-class-power). Wine reads charge
// and current, not energy and power.
var wineSupply = map[string]string{
	"ADP0/type": "Mains", "ADP0/online": "0",
	"BAT0/type": "Battery", "BAT0/present": "1", "BAT0/status": "Discharging", "BAT0/capacity": "98",
	"BAT0/voltage_now": "12229000", "BAT0/current_now": "394963", "BAT0/charge_now": "4043667", "BAT0/charge_full": "4093548",
}

// TestWindowsUnderWine runs the Windows program under Debian's Wine, on a simulated
// battery that Wine takes for the kernel's, by hand and as a service of Wine's
// service manager, and wants the answers that the program for Linux gives.
func TestWindowsUnderWine(t *testing.T) {
	need(t, "/usr/lib/wine/wine64", "x86_64-w64-mingw32-gcc", "unshare", "ip", "sqlite3")
	if os.Geteuid() != 0 {
		t.Skip("needs root for a mount namespace")
	}
	work := t.TempDir()
	windows := []string{"GOOS=windows", "GOARCH=amd64", "CGO_ENABLED=0"}
	version := "VERSION=" + testVersion
	command(t, append(windows, version), "deploy/build", filepath.Join(work, "sweepd.exe"))
	command(t, []string{version}, "deploy/build", filepath.Join(work, "sweepd"))
	write(t, filepath.Join(work, "day.csv"), tableOfDay())
	for _, suite := range wineSuites {
		command(t, windows, "go", "test", "-c", "-o", filepath.Join(work, strings.ReplaceAll(suite, "/", "_")+".test.exe"), "./"+suite)
	}
	command(t, nil, "x86_64-w64-mingw32-gcc", "-shared", "-o", filepath.Join(work, "bcryptprimitives.dll"), "deploy/testdata/bcryptprimitives.c", "-ladvapi32")
	for name, text := range wineSupply {
		path := filepath.Join(work, "supply", name)
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			t.Fatal(err)
		}
		write(t, path, text+"\n")
	}
	out := command(t, nil, "unshare", "--mount", "--net", "--pid", "--fork", "--kill-child", "--mount-proc", "deploy/testdata/wine.sh", work)
	if !strings.HasSuffix(out, "\nPASSED\n") {
		t.Fatal(out)
	}
	t.Log(out)
	checkWineSensors(t, filepath.Join(work, "sensors.json"))
	checkWineRuns(t, filepath.Join(work, "runs.json"))
}

// tableOfDay is a table of 48 invented runs, from which every analysis has something to
// say: two devices, two supplies, four settings, three times.
func tableOfDay() string {
	text := &strings.Builder{}
	fmt.Fprintln(text, "device,workload,setting_w,supply,started_at,duration_s,package_w,system_w,fps_mean")
	n := 0
	for day := range 3 {
		for i, device := range []string{"unit-oak", "unit-elm"} {
			for j, supply := range []string{"mains", "battery"} {
				for _, watts := range []float64{8, 15, 25, 35} {
					n++
					drawn := min(watts, 28)
					fps := 20 * math.Sqrt(drawn) * (1 + 0.07*float64(i)) * (1 - 0.03*float64(j)) * (1 + 0.001*float64(n*7%11-5))
					fmt.Fprintf(text, "%s,harbour-flight,%g,%s,2026-03-%02dT%02d:%02d:00Z,300,%.2f,%.2f,%.2f\n",
						device, watts, supply, day+1, 8+n%12, n, drawn*0.98, drawn+7.5, fps)
				}
			}
		}
	}
	return text.String()
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

func checkWineRuns(t *testing.T, file string) {
	t.Helper()
	var runs []struct {
		Supply, State string
		Results       map[string]struct{ Value float64 }
		Findings      []struct{ Code string }
	}
	readJSON(t, file, &runs)
	var got []string
	for _, r := range runs {
		codes := []string{r.Supply, r.State, fmt.Sprint(r.Results["score"].Value)}
		for _, f := range r.Findings {
			if f.Code == "supply_changed" {
				codes = append(codes, f.Code)
			}
		}
		got = append(got, strings.Join(codes, " "))
	}
	slices.Sort(got)
	// The last one's score is what `sweepd version` printed first: 9 of 9.8.7.
	if want := []string{"battery finished 12", "battery rejected 11 supply_changed", "mains finished 9"}; !slices.Equal(got, want) {
		t.Errorf("runs are %q, want %q", got, want)
	}
}
