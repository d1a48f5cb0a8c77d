package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"sweepd/analysis"
)

// planContract is what the JSON of plans holds, as contract is for the others.
var planContract = map[string]string{
	"plan status --json": `id created_at seed hard[] done left rejected repeat outside[] left_s expected_end next
		slots[device workload setting{watts name source} supply variant{} pass needs_charge wait_s position state run tries[]]`,
	"plan next --json": `next{device workload setting{watts name source} supply variant{} pass needs_charge wait_s position state run tries[]} changes[] left`,
	"schedule --json":  `[] entry do when next_at last`,
}

func TestPlanJSONContract(t *testing.T) {
	alone(t)
	must(t, "plan", "new", "--device", "unit-oak", "--workload", "tile-sort", "--settings", "8-28/4", "--seed", "1")
	for args, shape := range planContract {
		var v any
		if err := json.Unmarshal([]byte(must(t, strings.Fields(args)...)), &v); err != nil {
			t.Errorf("%s: %v", args, err)
			continue
		}
		s := readShape(strings.Fields(strings.NewReplacer("[", " [ ", "]", " ] ", "{", " { ", "}", " } ").Replace(shape)))
		s.check(t, args, v)
	}
}

// planStretches is the table of `plan status`: its title and progress tell the time.
func planStretches(t *testing.T) string {
	t.Helper()
	_, table, _ := strings.Cut(must(t, "plan", "status"), "pass ")
	return table
}

// A plan comes from a file, goes out as a table and comes back in the same order.
func TestPlanFiles(t *testing.T) {
	alone(t)
	dir := t.TempDir()
	day, table := filepath.Join(dir, "day.yaml"), filepath.Join(dir, "day.csv")
	if err := os.WriteFile(day, []byte("devices: [unit-oak]\nworkloads: [tile-sort, harbour-flight]\nsettings: 8-16/4\nvariants: [cores=6, cores=12]\nhard: cores\nseed: 9\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	if out := must(t, "plan", "new", day, "--repeats", "2", "--full-energy", "20Wh"); !strings.Contains(out, "48 runs in 2 passes, seed 9") {
		t.Errorf("%s", out)
	}
	first, stretches := must(t, "plan", "status", "--csv"), planStretches(t)
	if err := os.WriteFile(table, []byte(first), 0o600); err != nil {
		t.Fatal(err)
	}
	if o := sweepd(t, "plan", "new", table, "--full-energy", "20Wh"); o.code != exitFailed || !strings.Contains(o.stderr, "plan 1 is in force, 0 runs done, 48 left: nothing was changed") {
		t.Errorf("in the place of a plan that is not done: %+v", o)
	}
	must(t, "plan", "new", table, "--full-energy", "20Wh", "--replace")
	if again := must(t, "plan", "status", "--csv"); again != first {
		t.Errorf("came back changed:\n%s", again)
	}
	if again := planStretches(t); again != stretches || !strings.Contains(again, "cores=12") || !strings.Contains(again, "%") {
		t.Errorf("stretches and charge came back changed:\n%s\n%s", stretches, again)
	}
	broken := filepath.Join(dir, "broken.yaml")
	if err := os.WriteFile(broken, []byte("workloads: a\nsettings: 8-28\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	if out := must(t, "plan", "status", "--every"); strings.Count(out, "open") != 48 {
		t.Errorf("%s", out)
	}
	for args, want := range map[string]string{
		"plan new " + table + " --repeats 3":                     "--repeats has no meaning beside",
		"plan new --workload a --settings 8W --run-time soon":    `--run-time "soon" is no time`,
		"plan new --workload a --settings 8W --full-energy much": "want watt hours",
		"plan new --workload a --settings 8W --repeats 0":        "--repeats: 0 repeats: want 1 to 100",
		"plan new": "needs workloads",
		"plan new --workload a --settings 28-8/4":             "such as 8-28/4",
		"plan new --workload a --settings 8-28":               "a range says its step, such as 8-28/4",
		"plan new --workload a --settings 8..28/4":            "want FROM-TO/STEP in watts",
		"plan new --workload a --settings 8–28/4":             "want FROM-TO/STEP in watts",
		"plan new --workload a --settings 8;12":               "settings are parted by commas: 8,12",
		"plan new --workload a --settings 8W;12W;15":          "settings are parted by commas: 8,12,15",
		"plan new --workload a --settings 8/12":               "settings are parted by commas: 8,12",
		"plan new --workload a --settings quiet;balanced":     "settings are parted by commas: quiet,balanced",
		"plan new --workload a --settings 8W --hard cores":    "no variant has it: name its levels, such as cores=6",
		"plan new --workload a --settings 8W --supply batery": "did you mean battery?",
		"plan new --workload a --settings 8W --variant cores": "not a pair",
		"plan new " + day + " --settings 8-28 --replace":      "a range says its step",
		"plan new " + day + " --supply batery --replace":      "did you mean battery?",
		"plan extend --by supply --a battry --b mains":        "did you mean battery?",
		"plan extend":                         "one of them",
		"plan extend --repeats 1 --by supply": "one of them",
		"plan extend --repeats -1":            "from 1",
		"plan status --csv --every":           "csv every",
	} {
		if o := sweepd(t, strings.Fields(args)...); o.code != exitUsage || !strings.Contains(o.stderr, want) {
			t.Errorf("%s: exit %d, want %q: %s", args, o.code, want, o.stderr)
		}
	}
	for args, want := range map[string]string{
		"plan new " + broken + " --replace": "a range says its step", // what is wrong is in the file
		"plan new /no/such/file.yaml":       "/no/such/file.yaml",
		"plan new /no/such/file.csv":        "/no/such/file.csv",
		"plan extend --by supply":           "no run was selected",
		"plan next --device nope":           `the plan has no device "nope": it has unit-oak`,
		"plan status --device nope":         `the plan has no device "nope": it has unit-oak`,
	} {
		if o := sweepd(t, strings.Fields(args)...); o.code != exitFailed || !strings.Contains(o.stderr, want) {
			t.Errorf("%s: exit %d, want %q: %s", args, o.code, want, o.stderr)
		}
	}
}

// A word in backquotes would be taken for what a value is.
func TestPlanStatusHelp(t *testing.T) {
	out := strings.Join(strings.Fields(must(t, "plan", "status", "--help")), " ")
	if !strings.Contains(out, `--csv write the plan as CSV, which "sweepd plan new" reads`) {
		t.Errorf("%s", out)
	}
}

func TestWithoutAPlan(t *testing.T) {
	campaign(t, alone(t))
	for _, args := range []string{"plan status", "plan next", "plan extend --repeats 1"} {
		if o := sweepd(t, strings.Fields(args)...); o.code != exitFailed || !strings.Contains(o.stderr, "`sweepd plan new`") {
			t.Errorf("%s: %+v", args, o)
		}
	}
}

// What a comparison cannot tell yet is appended, cells of both sides alike, and what
// runs have shown of durations and draws is used.
func TestPlanExtendByComparison(t *testing.T) {
	campaign(t, alone(t))
	must(t, "plan", "new", "--device", "unit-oak", "--workload", "harbour-flight", "--settings", "8,10,12,15,18,22,28,35", "--variant", "cores=6", "--repeats", "1", "--seed", "2")
	var compared struct {
		Comparisons []struct {
			Settings []struct {
				MoreRuns *int `json:"more_runs"`
			}
		}
	}
	if err := json.Unmarshal([]byte(must(t, "compare", "--by", "supply", "--device", "unit-oak", "--json")), &compared); err != nil {
		t.Fatal(err)
	}
	want := 0
	for _, s := range compared.Comparisons[0].Settings {
		if s.MoreRuns != nil {
			want += 2 * min(*s.MoreRuns, 2)
		}
	}
	var extended struct{ Added int }
	if err := json.Unmarshal([]byte(must(t, "plan", "extend", "--by", "supply", "--device", "unit-oak", "--most", "2", "--json")), &extended); err != nil || extended.Added != want {
		t.Errorf("%d added, want %d, %v", extended.Added, want, err)
	}
	var status struct {
		Left  int
		LeftS float64 `json:"left_s"`
		Slots []struct {
			NeedsCharge *float64 `json:"needs_charge"`
			WaitS       float64  `json:"wait_s"`
			Supply      string
		}
	}
	if err := json.Unmarshal([]byte(must(t, "plan", "status", "--json")), &status); err != nil || status.Left != 16+want {
		t.Fatalf("%d left, %v", status.Left, err)
	}
	// Runs of the campaign last 300 s and begin 7 min apart: 420 s each, besides what
	// is waited for charging.
	waits := 0.0
	for _, s := range status.Slots {
		waits += s.WaitS
	}
	if got, want := status.LeftS-waits, 420*float64(status.Left); got < want-1 || got > want+1 {
		t.Errorf("%v s for %d runs, want %v", got, status.Left, want)
	}
	for _, s := range status.Slots {
		if (s.NeedsCharge != nil) != (s.Supply == "battery") {
			t.Errorf("the battery's 48.6 Wh are not learnt: %+v", s)
		}
	}
}

// Watts are watts however a table writes them: a run at 15.004 W is one at 15 W for the
// plan as it is for the curve, and a plan that names its settings 15 and 20W advances.
func TestSettingsInTablesAreWatts(t *testing.T) {
	alone(t)
	dir := t.TempDir()
	write := func(name, text string) string {
		t.Helper()
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}
	plan := write("day.csv", "device,workload,supply,setting_w,setting\n"+
		"unit-oak,tile-sort,mains,,15\nunit-oak,tile-sort,mains,,20W\nunit-oak,tile-sort,mains,25.004,\nunit-oak,tile-sort,mains,,quiet\n")
	must(t, "plan", "new", plan)
	table := "device,workload,supply,setting_w,setting,started_at,duration_s,score\n"
	for i, setting := range []string{"15.004,", "20,", ",25W", ",quiet"} {
		at := time.Now().Add(time.Duration(1+i) * time.Minute).UTC().Format(time.RFC3339)
		table += "unit-oak,tile-sort,mains," + setting + "," + at + ",60,10\n"
	}
	must(t, "import", write("runs.csv", table))
	var status struct {
		Done, Left int
		Outside    []string
		Slots      []struct{ Setting struct{ Name string } }
	}
	if err := json.Unmarshal([]byte(must(t, "plan", "status", "--json")), &status); err != nil || status.Done != 4 || status.Left != 0 || len(status.Outside) != 0 {
		t.Errorf("%d done, %d left, outside %v, %v", status.Done, status.Left, status.Outside, err)
	}
	for i, s := range status.Slots {
		if want := map[int]string{3: "quiet"}[i]; s.Setting.Name != want {
			t.Errorf("slot %d: the setting's name is %q, want %q", i+1, s.Setting.Name, want)
		}
	}
	curve := asked[analysis.CurveResult](t, "curve --metric score")
	var at []float64
	for _, p := range curve.Groups[0].Points {
		at = append(at, float64(p.SettingW))
	}
	if len(at) != 4 || !slices.Equal(at[:3], []float64{15, 20, 25}) { // the name comes last
		t.Errorf("the curve has points at %v W", at)
	}
}
