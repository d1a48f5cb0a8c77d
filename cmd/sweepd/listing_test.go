package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"os"
	"strings"
	"testing"
	"time"

	"sweepd/analysis"
	"sweepd/report/sentence"
	"sweepd/run"
	"sweepd/store"
	"sweepd/store/sqlite"
	"sweepd/testday"
)

// TestListOfMixedRuns lists two workloads with results of their own.
func TestListOfMixedRuns(t *testing.T) {
	data := alone(t)
	campaign(t, data)
	must(t, "import", writeFile(t, "sort.csv", "device,workload,variant,started_at,duration_s,seconds,score\n"+
		"unit-elm-with-a-long-name,tile-sort,cores=6;fan=quiet,2026-05-06T09:00:00Z,47,46.49940863466229,1234567.25\n"))
	out := must(t, "run", "list")
	for _, want := range []string{
		"started (UTC", "result", "unit-elm-with-a-long-name", "tile-sort", "2026-05-06", // whole words
		"score 1234567, seconds 46.4994", "fps_mean ", " fps", // each run's own results
	} {
		if !strings.Contains(out, want) {
			t.Errorf("run list lacks %q:\n%s", want, out)
		}
	}
	if strings.Contains(out, "…") {
		t.Errorf("something is cut in a pipe:\n%s", out)
	}
	var runs []run.Run
	if err := json.Unmarshal([]byte(must(t, "run", "list", "--json", "--workload", "tile-sort")), &runs); err != nil || runs[0].Results["seconds"].Value != 46.49940863466229 {
		t.Errorf("JSON is not rounded: %+v, %v", runs, err)
	}
}

func writeFile(t *testing.T, name, content string) string {
	t.Helper()
	path := t.TempDir() + "/" + name
	if err := os.WriteFile(path, []byte(content), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

func TestTimesTellTheirZone(t *testing.T) {
	berlin, err := time.LoadLocation("Europe/Berlin")
	if err != nil {
		t.Skip(err)
	}
	livesIn(t, berlin)
	summer, winter := time.Date(2026, 7, 1, 8, 0, 0, 0, time.UTC), time.Date(2026, 12, 1, 8, 0, 0, 0, time.UTC)
	started := func(at time.Time) run.Run { return run.Run{StartedAt: run.Stamp(at)} }
	zone, texts := startTimes([]run.Run{started(summer), {}})
	if zone != "UTC+02:00" || texts[0] != "2026-07-01 10:00" || texts[1] != "" {
		t.Errorf("summer: %s %q", zone, texts)
	}
	zone, texts = startTimes([]run.Run{started(summer), started(winter)})
	if zone != "UTC" || texts[0] != "2026-07-01 08:00" || texts[1] != "2026-12-01 08:00" {
		t.Errorf("both: %s %q", zone, texts)
	}
	if got := timeText(run.Stamp(winter)); got != "2026-12-01 09:00:00 UTC+01:00" {
		t.Errorf("got %s", got)
	}
}

func TestHistoryOfARun(t *testing.T) {
	data := alone(t)
	campaign(t, data)
	must(t, "run", "reject", "last", "--why", "an update ran")
	must(t, "run", "keep", "last", "--why", "it ran before")
	must(t, "run", "result", "last", "fps_mean=61.123456789fps")
	if out := must(t, "run", "result", "last", "fps_mean=62fps"); !strings.Contains(out, "fps_mean 62 fps") {
		t.Errorf("result: %s", out)
	}
	if list := asked[[]store.Batch](t, "run history"); len(list) != 2 || list[0].Who != typist() || list[1].Who != typist() {
		t.Errorf("who corrected results: %+v", list)
	}
	out := must(t, "run", "show", "last")
	for _, want := range []string{"rejected by hand: an update ran", "kept by hand: it ran before", "fps_mean 61.1235 fps → 62 fps"} {
		if !strings.Contains(out, want) {
			t.Errorf("run show lacks %q:\n%s", want, out)
		}
	}
	var k testday.KeptRun
	if err := json.Unmarshal([]byte(must(t, "run", "show", "last", "--json")), &k); err != nil {
		t.Fatal(err)
	}
	if h := k.History; len(h.Decisions) != 2 || h.Decisions[1].Why != "it ran before" || len(h.Results) != 2 || h.Results[1].Result.Value != 61.123456789 {
		t.Errorf("history: %+v", h)
	}
	if (k.ID == "") || len(k.Results) == 0 {
		t.Errorf("the run itself: %+v", k.Record)
	}
}

// TestSummariesOfARun checks units and totals: 3600 J are 1 Wh (SI brochure, table
// 8: 1 h = 3600 s), 50 Hz are 3000 revolutions a minute.
func TestSummariesOfARun(t *testing.T) {
	n := func(v float64) *float64 { return &v }
	var out bytes.Buffer
	a := &app{out: &out, err: &out, getenv: func(string) string { return "" }}
	gauge := func(sensor, instance, unit string, v float64) run.Summary {
		return run.Summary{Sensor: sensor, Instance: instance, Unit: unit, Mean: n(v), Min: n(v), Max: n(v), P95: n(v), First: n(v), Last: n(v)}
	}
	power := gauge("package_power_watts", "package-0", "watts", 12.5)
	power.EnergyJoules = n(125000)
	err := a.printKept(testday.KeptRun{Record: run.Record{Run: run.Run{ID: "019a0000-0000-7000-8000-000000000001"}, Summaries: []run.Summary{
		gauge("battery_energy_joules", "BAT0", "joules", 174960), gauge("fan_speed_hertz", "fan", "hertz", 50), gauge("battery_direction", "BAT0", "", -1),
		gauge("platform_profile", "", "", 2), gauge("cpu_frequency_hertz", "policy0", "hertz", 9.72e8), gauge("cpus_online", "", "", 8), power,
		{Sensor: "throttle_events", Instance: "core", First: n(17), Last: n(20)},
		{Sensor: "pressure_stall_seconds", Instance: "io", Unit: "seconds", First: n(1.25), Last: n(1.5)},
		{Sensor: "throttle_events", Instance: "package", First: n(17), Last: n(3)},
		{Sensor: "package_energy_joules", Instance: "package-0", Unit: "joules", First: n(0), Last: n(5), EnergyJoules: n(371)},
	}}, History: store.History{}}, true)
	if err != nil {
		t.Fatal(err)
	}
	got := map[string]string{}
	for line := range strings.Lines(out.String()) {
		if words := strings.Fields(line); len(words) > 1 {
			got[words[0]+" "+words[1]] = strings.Join(words[2:], " ")
		}
	}
	four := func(s string) string { return strings.Join([]string{s, s, s, s}, " ") }
	none := four(sentence.Dash)
	for row, want := range map[string]string{
		"battery_energy_joules BAT0": four("48.6 Wh"), "fan_speed_hertz fan": four("3000 rpm"), "battery_direction BAT0": four("charging"),
		"platform_profile quiet": "quiet quiet quiet", "cpu_frequency_hertz policy0": four("972 MHz"), "cpus_online 8": "8 8 8",
		"package_power_watts package-0": four("12.5 W") + " 125 kJ", "throttle_events core": none + " 3", "pressure_stall_seconds io": none + " 0.250 s",
		"throttle_events package": none + " " + sentence.Dash, "package_energy_joules package-0": none + " 371 J",
	} {
		if got[row] != want {
			t.Errorf("%s: got %q, want %q", row, got[row], want)
		}
	}
}

func TestResultsAreRounded(t *testing.T) {
	for _, c := range []struct {
		value float64
		want  string
	}{
		{46.49940863466229, "46.4994"}, {77.1214332504974, "77.1214"}, {100, "100"}, {0, "0"}, {-0.5, "-0.5"}, {123456.7, "123457"}, {10234567.25, "10234567"},
		{0.000123456789, "0.000123457"}, {1.23456789e-7, "1.23457e-07"}, {1.23456789e20, "1.23457e+20"},
	} {
		if got := valueText(run.Result{Value: c.value, Unit: "x"}); got != c.want+" x" {
			t.Errorf("%v: got %q, want %q", c.value, got, c.want)
		}
	}
}

func TestReadingsInWords(t *testing.T) {
	for _, c := range []struct {
		sensor, unit string
		value        float64
		want         string
	}{
		{"battery_energy_joules", "joules", 174960, "174.96 kJ (48.6 Wh)"}, {"fan_speed_hertz", "hertz", 50, "50.0 Hz (3000 rpm)"},
		{"battery_direction", "", 0, "0 (at rest)"}, {"supply_online", "", 1, "1 (online)"}, {"platform_profile", "", 5, "5 (performance)"},
		{"platform_profile", "", 99, "99"}, {"platform_profile", "", 1.5, "1.50"}, {"temperature_celsius", "celsius", 51.5, "51.5 °C"},
	} {
		if got := readingText(c.sensor, c.unit, c.value); got != c.want {
			t.Errorf("%s %v: got %q, want %q", c.sensor, c.value, got, c.want)
		}
	}
	if got := fmt.Sprint(shortReading("fan_speed_hertz", "hertz", nil)); got != sentence.Dash {
		t.Errorf("unknown: %q", got)
	}
}

// Lists select by what a person remembers of a run; what the words mean is tested in
// testday.
func TestListFilters(t *testing.T) {
	campaign(t, alone(t))
	count := func(args string) int {
		t.Helper()
		return len(asked[[]run.Run](t, "run list "+args))
	}
	all := count("")
	if n := count("--setting 15W") + count("--setting 8w"); n == 0 || n >= all {
		t.Errorf("%d of %d runs at 15 and 8 W", n, all)
	}
	if n := count("--last 3"); n != 3 {
		t.Errorf("the last 3 are %d", n)
	}
	day := count("--since 2026-05-04 --until 2026-05-04")
	if after := count("--since 2026-05-05"); day == 0 || day+after != all {
		t.Errorf("%d on the first day and %d later of %d", day, after, all)
	}
	if n := count("--state rejected") + count("--state finished") + count("--state interrupted"); n != all {
		t.Errorf("%d have a state, of %d", n, all)
	}
	if out := must(t, "run", "list", "--since", "2030-01-01"); !strings.HasPrefix(out, "no run fits") {
		t.Errorf("nothing selected: %s", out)
	}
	if x := asked[analysis.CompareResult](t, "compare --by supply --device unit-oak --since 2026-05-04"); len(x.Comparisons) == 0 {
		t.Error("an analysis of some days compares nothing")
	}
	for args, want := range map[string]string{
		"run list --finding hotstart":                               "did you mean hot_start?",
		"run list --state rejectd":                                  "did you mean rejected?",
		"run list --since soon":                                     "want a day (2026-05-04, today, yesterday)",
		"compare --by supply --until 2026-05-04 --since 2026-05-05": "no run can be between them",
	} {
		if o := sweepd(t, strings.Fields(args)...); o.code != exitUsage || !strings.Contains(o.stderr, want) {
			t.Errorf("%s: %+v", args, o)
		}
	}
}

// What needs a look is told of any data, in the words of the demonstration.
func TestRunDoubts(t *testing.T) {
	data := alone(t)
	must(t, "import", writeFile(t, "two.csv", "device,workload,supply,setting_w,started_at,duration_s,score\nunit-oak,tile-sort,mains,15,2026-05-06T09:00:00Z,47,46\n"))
	if out := must(t, "run", "doubts"); !strings.Contains(out, "nothing needs a look: no finding casts doubt on any of 1 run") {
		t.Errorf("%s", out)
	}
	s, err := sqlite.Open(data, sqlite.Options{})
	if err != nil {
		t.Fatal(err)
	}
	hot := run.Record{Run: run.Run{ID: "01f0e0a2-0000-7000-8000-00000000abcd", Labels: run.Labels{Device: "unit-elm", Workload: "tile-sort", Setting: run.Watts(25).From(run.Declared), Supply: run.Mains},
		State: run.Finished, StartedAt: run.Stamp(time.Date(2026, 5, 6, 10, 0, 0, 0, time.UTC)), DurationS: new(60.0),
		Results: map[string]run.Result{}, Findings: []run.Finding{{Code: run.HotStart, Severity: run.SeverityDoubt, Text: "61 °C at the start"}}}}
	if _, _, err := s.Import(t.Context(), "", func(yield func(*run.Record, error) bool) { yield(&hot, nil) }, nil); err != nil {
		t.Fatal(err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	if out := strings.Join(strings.Fields(must(t, "run", "doubts")), " "); !strings.Contains(out, "2 runs. Those that need a look:") || !strings.Contains(out, "doubt hot_start, 1 run of unit-elm at 25W: 61 °C at the start; let the device cool down before a run") {
		t.Errorf("%s", out)
	}
	if list := asked[[]*testday.Doubt](t, "run doubts --device unit-oak"); len(list) != 0 {
		t.Errorf("of another device: %+v", list)
	}
	if out := must(t, "run", "list", "--finding", "hot_start"); !strings.Contains(out, "unit-elm") || strings.Contains(out, "unit-oak") {
		t.Errorf("%s", out)
	}
}

// Hurried times: what lies in the future is said to, of lists and of analyses.
func TestFiltersThatFitNothing(t *testing.T) {
	data := alone(t)
	campaign(t, data)
	for args, want := range map[string]string{
		"run list --since 2099-01-01":             "no run fits: since 2099-01-01 lies in the future: it is ",
		"compare --by device --since 2099-01-01":  "no run was selected: since 2099-01-01 lies in the future",
		"curve --since tomorrow":                  "no run was selected: since tomorrow lies in the future",
		"battery --since 2099-01":                 "no run was selected: since 2099-01 lies in the future",
		"battery --until 2020-01-01":              "battery: no run was selected",
		"report --out x --since 2099-01-01":       "there is nothing to report: since 2099-01-01 lies in the future",
		"compare --a since=2099-01-01":            "no run started since 2099-01-01, which lies in the future",
		"compare --a until=2020-01-01 --b since=": "want a day",
		"run list --last 0":                       "want a whole number from 1",
	} {
		o := sweepd(t, strings.Fields(args)...)
		if said := strings.Join(strings.Fields(o.out+o.stderr), " "); !strings.Contains(said, want) || len(said) > 400 {
			t.Errorf("sweepd %s: exit %d, %s\nwant %q", args, o.code, said, want)
		}
	}
	if list := asked[[]run.Run](t, "run list --until 24:00 --last 3"); len(list) != 3 {
		t.Errorf("until the end of today: %+v", list)
	}
}
