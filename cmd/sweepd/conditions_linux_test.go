package main

import (
	"encoding/json"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"sweepd/internal/simdevice"
	"sweepd/run"
)

// record starts a run with what is typed for it, plays harbour-flight and stops it.
func (d *testDay) record(typed ...string) (id, said string) {
	d.t.Helper()
	said = d.do(append([]string{"run", "start"}, typed...)...)
	d.bench.Recording(true)
	d.bench.Device.StartWorkload(simdevice.HarbourFlight())
	d.pass(20 * time.Second)
	played, _ := d.bench.Device.StopWorkload()
	d.stopped = d.do("run", "stop", "--result", played.Metric+"="+run.TypedNumber(played.Value)+played.Unit)
	d.bench.Recording(false)
	return d.shown("last").ID, said
}

// shown is what `run show` says of a run.
func (d *testDay) shown(id string) (r run.Record) {
	d.t.Helper()
	if err := json.Unmarshal([]byte(d.do("run", "show", id, "--json")), &r); err != nil {
		d.t.Fatal(err)
	}
	return r
}

// What the system tells of display and radios is kept with each run, and what a person
// types; it holds for the runs after, until it is typed anew, taken back, or too old.
func TestConditionsOfARun(t *testing.T) {
	d := newTestDay(t)
	facts := func(id string) map[string]string {
		kept := d.shown(id).Facts
		maps.DeleteFunc(kept, func(key, _ string) bool {
			return key != "display_brightness_ratio" && key != "radio_wlan" && key != run.RoomTemperature && key != run.DisplayRefresh && key != run.WorkloadVersion
		})
		return kept
	}
	check := func(what string, want map[string]string) {
		t.Helper()
		if got := facts("last"); !maps.Equal(got, want) {
			t.Errorf("%s: %v, want %v", what, got, want)
		}
	}
	start := []string{"--workload", "harbour-flight", "--setting", "20W"}
	with := func(more ...string) []string { return append(append([]string{}, start...), more...) }

	d.record(start...)
	check("nothing typed", map[string]string{"display_brightness_ratio": "1", "radio_wlan": "on"})

	_, said := d.record(with("--room", "22,5C", "--refresh", "120Hz", "--workload-version", "1.4.2")...)
	if !strings.Contains(said, "typed, and in force until changed: refresh rate of the display 120 Hz, room temperature 22.5 °C, version of the workload 1.4.2") {
		t.Errorf("the start says %q", said)
	}
	d.bench.Device.SetBrightness(0.5)
	d.bench.Device.SwitchRadios(false)
	d.rest(10 * time.Second)
	_, said = d.record(start...)
	check("held", map[string]string{"display_brightness_ratio": "0.5", "radio_wlan": "off", run.RoomTemperature: "22.5", run.DisplayRefresh: "120", run.WorkloadVersion: "1.4.2"})
	if !strings.Contains(said, "room temperature 22.5 °C") {
		t.Errorf("nobody is told that the room's temperature holds: %q", said)
	}

	d.record("--workload", "tile-sort", "--setting", "20W", "--room", "75F")
	check("another workload has another version", map[string]string{"display_brightness_ratio": "0.5", "radio_wlan": "off", run.RoomTemperature: "23.89", run.DisplayRefresh: "120"})
	d.record(with("--refresh", "none")...)
	check("taken back; the version is that of the workload", map[string]string{"display_brightness_ratio": "0.5", "radio_wlan": "off", run.RoomTemperature: "23.89", run.WorkloadVersion: "1.4.2"})
	d.rest(5 * time.Hour)
	d.record(start...)
	check("the room of five hours ago", map[string]string{"display_brightness_ratio": "0.5", "radio_wlan": "off", run.WorkloadVersion: "1.4.2"})
}

// A simulated device tells a system of its own, played and live, and nothing of the machine
// that it is simulated on.
func TestFactsOfTheSimulatedDevice(t *testing.T) {
	d := newTestDay(t)
	d.record("--workload", "harbour-flight", "--setting", "20W")
	told := d.shown("last").Facts
	alone(t)
	liveDevice(t)
	startAgent(t)
	must(t, "run", "start", "--workload", "harbour-flight")
	must(t, "run", "stop")
	live := asked[run.Record](t, "run show last").Facts
	for key, want := range map[string]string{"os": "sim 1", "kernel_version": "6.12.0-sim", "host_vendor": "Example Works"} {
		if told[key] != want || live[key] != want {
			t.Errorf("%s: %q played, %q live, want %q", key, told[key], live[key], want)
		}
	}
	for _, key := range []string{run.FactHardwareID, run.FactSystemID} {
		if told[key] == "" || live[key] == "" {
			t.Errorf("no %s: %q played, %q live", key, told[key], live[key])
		}
	}
}

// Slips in what is typed: nothing is started.
func TestTypedConditionsThatMakeNoSense(t *testing.T) {
	d := newTestDay(t)
	for _, c := range []struct{ flag, value, want string }{
		{"--room", "23", `room temperature "23" has no unit: is it 23C or 23F?`},
		{"--room", "73C", "no room has 73 °C: is it 73F, which is 22.8 °C?"},
		{"--room", "warm", "give it as 23C, or 73F"},
		{"--room", "23K", `"K" is neither C nor F`},
		{"--room", "500F", "260.0 °C is not from -30 to 60"},
		{"--refresh", "fast", "give it as 120Hz"},
		{"--refresh", "0Hz", "is not from 1 to 1000 Hz"},
		{"--refresh", "12W", "give it as 120Hz"},
		{"--workload-version", "a\tb", "use one line of plain text"},
	} {
		o := sweepd(t, append([]string{"run", "start", "--workload", "tile-sort", c.flag, c.value}, d.flags...)...)
		if o.code == 0 || !strings.Contains(o.stderr, c.want) {
			t.Errorf("%s %s: exit %d, %s", c.flag, c.value, o.code, o.stderr)
		}
	}
	if out := d.do("run", "list"); strings.Contains(out, "tile-sort") {
		t.Errorf("a run was started:\n%s", out)
	}
}

// A display that dims when unplugged is told between the sides of a comparison, a radio that
// was switched off in one of several runs with that run, and both with the report.
func TestConditionsThatDiffer(t *testing.T) {
	d := newTestDay(t)
	var odd string
	for i, supply := range []string{"mains", "battery"} {
		d.bench.Device.Plug()
		if supply == "battery" {
			d.bench.Device.Unplug()
			d.bench.Device.SetBrightness(0.6) // as many systems do by themselves
		}
		for _, setting := range []string{"12W", "20W", "28W"} {
			for n := range 3 {
				d.bench.Device.SwitchRadios(!(supply == "mains" && setting == "20W" && n == 1))
				d.bench.Device.SetLimit(map[string]float64{"12W": 12, "20W": 20, "28W": 28}[setting])
				d.rest(3 * time.Minute)
				id, _ := d.record("--workload", "harbour-flight", "--setting", setting, "--room", map[int]string{0: "22C", 1: "23C"}[i])
				if supply == "mains" && setting == "20W" && n == 1 {
					odd = id
					if want := "doubt conditions_differ: wireless network off, on in the other run of its cell;"; !strings.Contains(strings.Join(strings.Fields(d.stopped), " "), want) {
						t.Errorf("the stop does not say %q:\n%s", want, d.stopped)
					}
				}
			}
		}
	}
	var doubted []run.Run
	if err := json.Unmarshal([]byte(d.do("run", "list", "--finding", "conditions_differ", "--json")), &doubted); err != nil {
		t.Fatal(err)
	}
	if len(doubted) != 1 || doubted[0].ID != odd {
		t.Fatalf("doubted for their conditions: %+v, want %s alone", doubted, odd)
	}
	for _, f := range doubted[0].Findings {
		if want := "wireless network off, on in the other 2 runs of its cell; Bluetooth off, on in the other 2 runs of its cell"; f.Code == run.ConditionsDiffer && (!strings.HasPrefix(f.Text, want) || f.Severity != run.SeverityDoubt || f.Advice == "") {
			t.Errorf("%+v, want %q", f, want)
		}
	}

	out := d.do("compare", "--by", "supply")
	if !strings.Contains(strings.Join(strings.Fields(out), " "), "different display brightness: 60 % with battery, 100 % with mains") {
		t.Errorf("compare does not tell that the display was dim on battery:\n%s", out)
	}
	if strings.Contains(out, "room temperature") {
		t.Errorf("a degree more or less in the room is told:\n%s", out)
	}
	var compared struct {
		Comparisons []struct {
			Confounders      []string
			Confounder_codes []string
		}
	}
	if err := json.Unmarshal([]byte(d.do("compare", "--by", "supply", "--json")), &compared); err != nil {
		t.Fatal(err)
	}
	if c := compared.Comparisons[0]; !slices.Contains(c.Confounder_codes, "facts_differ") || len(c.Confounder_codes) != len(c.Confounders) {
		t.Errorf("%+v", c)
	}
	dir := filepath.Join(t.TempDir(), "report")
	d.do("report", "--out", dir)
	page, err := os.ReadFile(filepath.Join(dir, "report.html"))
	if err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(string(page), "display brightness 60 % and 100 %") {
		t.Error("the report does not name the conditions among its methods")
	}
}
