package main

import (
	"bytes"
	"encoding/json"
	"strconv"
	"strings"
	"testing"
	"time"

	"sweepd/internal/simdevice"
	"sweepd/run"
	"sweepd/testday"
)

// typed starts a run with these words, plays a workload for 20 s, and stops it.
func (d *testDay) typed(during func(), words ...string) (id string) {
	d.t.Helper()
	var started struct{ ID string }
	if err := json.Unmarshal([]byte(d.do(append([]string{"run", "start", "--json"}, words...)...)), &started); err != nil {
		d.t.Fatal(err)
	}
	d.bench.Recording(true)
	d.bench.Device.StartWorkload(simdevice.HarbourFlight())
	d.pass(10 * time.Second)
	if during != nil {
		during()
	}
	d.pass(10 * time.Second)
	played, _ := d.bench.Device.StopWorkload()
	if err := d.bench.Device.Flush(); err != nil {
		d.t.Fatal(err)
	}
	d.do("run", "stop", "--result", played.Metric+"="+strconv.FormatFloat(played.Value, 'g', -1, 64)+played.Unit)
	d.bench.Recording(false)
	d.rest(2 * time.Minute)
	return started.ID
}

func (d *testDay) kept(id string) (k testday.KeptRun) {
	d.t.Helper()
	if err := json.Unmarshal([]byte(d.do("run", "show", id, "--json")), &k); err != nil {
		d.t.Fatal(err)
	}
	return k
}

// refused runs a command that cannot be done, and returns what it says.
func (d *testDay) refused(code int, args ...string) string {
	d.t.Helper()
	var out, errs bytes.Buffer
	if got := Run(d.t.Context(), append(args, d.flags...), strings.NewReader(""), &out, &errs); got != code {
		d.t.Fatalf("sweepd %s: exit %d, want %d\n%s%s", strings.Join(args, " "), got, code, &out, &errs)
	}
	return errs.String()
}

func codesOf(k testday.KeptRun) (codes string) {
	for _, f := range k.Findings {
		codes += string(f.Code) + " "
	}
	return codes
}

// A wrong label never costs a run: what stands on it is judged again, and the plan counts
// the run where it belongs.
func TestWrongLabelsAreCorrected(t *testing.T) {
	d := newTestDay(t)
	d.do("plan", "new", "--device", "unit-oak", "--workload", "harbour-flight", "--settings", "15", "--supply", "mains", "--repeats", "2", "--seed", "1")
	d.bench.Device.SetLimit(15)
	d.rest(2 * time.Minute)
	mistyped := d.typed(nil, "--workload", "harbor-flight", "--setting", "51W", "--variant", "cors=6")
	if k := d.kept(mistyped); !k.HasFinding(run.SettingDisagrees) {
		t.Fatalf("51 W at 15 W: %s", codesOf(k))
	}
	if _, left := d.next(); left != 2 {
		t.Fatalf("%d runs are left of 2", left)
	}
	out := d.do("run", "correct", "last", "--set-setting", "15W", "--set-workload", "harbour-flight", "--remove-variant", "cors", "--why", "typos", "--dry-run")
	wantWords(t, out, "1 run would be corrected:", "setting 51W → 15W", "workload harbor-flight → harbour-flight", "variant cors=6 → (none)", "setting_disagrees gone")
	if k := d.kept(mistyped); k.Workload != "harbor-flight" || len(k.History.Corrections) > 0 {
		t.Fatalf("a dry run changed %+v", k.Run)
	}
	out = d.do("run", "correct", "last", "--set-setting", "15W", "--set-workload", "harbour-flight", "--remove-variant", "cors", "--why", "typos")
	wantWords(t, out, "1 run corrected", "run correct --undo ")
	k := d.kept(mistyped)
	if k.HasFinding(run.SettingDisagrees) || k.HasFinding(run.SettingDisobeyed) || k.Cell().String() != "unit-oak, harbour-flight, 15W, on mains" || len(k.Corrected) == 0 {
		t.Errorf("corrected: %s %s", k.Cell(), codesOf(k))
	}
	if _, left := d.next(); left != 1 {
		t.Errorf("the plan counts %d runs left, want 1", left)
	}
	wantWords(t, d.do("run", "show", "last"), "typos", "setting 51W → 15W", "correction ")

	// The supply was read wrong for half of the run, which rejects it.
	lost := d.typed(func() { d.togglePlug() }, "--workload", "harbour-flight", "--setting", "15W")
	d.togglePlug()
	if k := d.kept(lost); k.State != run.Rejected || !k.HasFinding(run.SupplyChanged) {
		t.Fatalf("%s, %s", k.State, codesOf(k))
	}
	out = d.do("run", "correct", "--finding", "supply_changed", "--set-supply", "battery")
	wantWords(t, out, "rejected → finished", "supply_changed gone", "supply_disagrees found")
	k = d.kept(lost)
	if k.State != run.Finished || k.Supply != run.Battery || k.Why != "" {
		t.Errorf("%s on %s, %q", k.State, k.Supply, k.Why)
	}
	id := k.History.Corrections[0].Batch
	wantWords(t, d.do("run", "show", lost), "`sweepd run correct --undo "+run.ShortID(id)+"` takes the correction back")
	d.do("run", "correct", "--undo", run.ShortID(id))
	if k := d.kept(lost); k.State != run.Rejected || k.Supply != run.Mains || !k.HasFinding(run.SupplyChanged) || k.HasFinding(run.SupplyDisagrees) || k.SystemW != nil || len(k.Corrected) > 0 {
		t.Errorf("taken back: %s on %s, %s", k.State, k.Supply, codesOf(k))
	}

	// What a person decided stands.
	d.do("run", "reject", mistyped[:12], "--why", "the window was open")
	d.do("run", "correct", mistyped, "--set-setting", "16W")
	if k := d.kept(mistyped); k.State != run.Rejected || k.Why != "the window was open" {
		t.Errorf("%s: %s", k.State, k.Why)
	}

	// What is recording now is corrected after its end.
	d.do("run", "start", "--workload", "harbor-flight")
	wantWords(t, d.refused(exitFailed, "run", "correct", "last", "--set-workload", "harbour-flight"), "still recording", "sweepd run stop")
	d.do("run", "stop")
	d.do("run", "correct", "last", "--set-workload", "harbour-flight")
}

// Many runs at once: shown first, asked about, all or none, taken back as a whole.
func TestManyRunsAreCorrected(t *testing.T) {
	alone(t)
	must(t, "import", writeFile(t, "day.csv", "run,device,workload,supply,setting_w,started_at,duration_s,package_w,fsp\n"+
		"r-0001,unit-oak,harbor-flight,mains,15,2026-05-04T09:00:00Z,60,14.9,60\n"+
		"r-0002,unit-oak,harbor-flight,mains,20,2026-05-04T09:05:00Z,60,19.9,70\n"+
		"r-0003,unit-oak,harbour-flight,mains,25,2026-05-04T09:10:00Z,60,24.9,78\n"))
	before := must(t, "run", "list", "--json")
	o := sweepd(t, "run", "correct", "--workload", "harbor-flight", "--set-workload", "harbour-flight")
	if o.code != exitFailed || !strings.Contains(o.stderr, "2 runs would be corrected, and nothing was changed: say --yes") {
		t.Errorf("exit %d: %s", o.code, o.stderr)
	}
	if after := must(t, "run", "list", "--json"); after != before {
		t.Error("it was changed all the same")
	}
	must(t, "run", "correct", "--workload", "harbor-flight", "--set-workload", "harbour-flight", "--yes")
	must(t, "run", "correct", "--since", "2026-05-04", "--rename-result", "fsp=fps_mean", "--set-note", "seen", "--yes")
	if out := must(t, "run", "list", "--json"); strings.Contains(out, "harbor-flight") || strings.Contains(out, "fsp") || strings.Count(out, "fps_mean") != 3 {
		t.Errorf("corrected:\n%s", out)
	}
	for _, c := range []struct {
		args string
		code int
		says string
	}{
		{"run correct --set-workload x", exitUsage, "which runs?"},
		{"run correct r-0001", exitUsage, "nothing to correct is given"},
		{"run correct r-0001 --workload x --set-workload y", exitUsage, "not both"},
		{"run correct r-0009 --set-workload y", exitFailed, "no such run"},
		{"run correct --workload nosuch --set-workload y", exitFailed, "no run fits"},
		{"run correct r-0001 --set-supply batery", exitUsage, "did you mean battery?"},
		{"run correct r-0001 --set-setting 15000mW", exitUsage, "give watts"},
		{"run correct r-0001 --set-workload=", exitUsage, "workload is empty"},
		{"run correct r-0001 --set-variant cores", exitUsage, "not a pair"},
		{"run correct r-0001 --set-variant a=1 --remove-variant a", exitUsage, "both set and removed"},
		{"run correct r-0001 --rename-result fps", exitUsage, "OLD=NEW"},
		{"run correct r-0001 --remove-result fps_maen", exitFailed, "did you mean fps_mean?"},
		{"run correct --undo --set-note x", exitUsage, "--set-note: --undo takes"},
		{"run correct --undo a b", exitUsage, "one word too many"},
		{"run correct --undo nosuch", exitFailed, "no such correction"},
		{"run correct r-0001 --setworkload y", exitUsage, "did you mean --set-workload?"},
	} {
		if o := sweepd(t, strings.Fields(c.args)...); o.code != c.code || !strings.Contains(o.stderr, c.says) {
			t.Errorf("%s: exit %d, %s; want %d, %q", c.args, o.code, o.stderr, c.code, c.says)
		}
	}
	if out := must(t, "run", "correct", "r-0001", "--set-workload", "harbour-flight"); !strings.Contains(out, "nothing to correct") {
		t.Error(out)
	}
	var batches []struct{ ID string }
	if err := json.Unmarshal([]byte(must(t, "run", "history", "--json")), &batches); err != nil || len(batches) != 2 {
		t.Fatalf("%+v, %v", batches, err)
	}
	// The first one by its id, though the workload is what it made it; then the last.
	must(t, "run", "correct", "--undo", run.ShortID(batches[0].ID))
	must(t, "run", "correct", "--undo")
	after := must(t, "run", "list", "--json")
	if after != before {
		t.Errorf("taken back:\n%s\nwant\n%s", after, before)
	}
	if o := sweepd(t, "run", "correct", "--undo"); o.code != exitFailed || !strings.Contains(o.stderr, "no correction is left") {
		t.Errorf("exit %d: %s", o.code, o.stderr)
	}
	wantWords(t, must(t, "run", "history"), "taken back by", "takes back")
	wantWords(t, must(t, "run", "history", "r-0001"), "workload harbor-flight → harbour-flight", "taking back")
	wantWords(t, must(t, "check"), "3 runs whole")
}

// A result that `run result` replaced is taken back by the same command.
func TestResultsAreTakenBack(t *testing.T) {
	alone(t)
	must(t, "import", writeFile(t, "day.csv", "run,device,workload,score\nr-0001,unit-oak,tile-sort,60\n"))
	must(t, "run", "result", "r-0001", "score=600")
	wantWords(t, must(t, "run", "show", "r-0001"), "score 60 → 600")
	must(t, "run", "correct", "--undo")
	wantWords(t, must(t, "run", "list"), "score 60\n")
}

// Two folders that both corrected a run: the later correction counts, and merge says so.
func TestMergeTakesCorrections(t *testing.T) {
	alone(t)
	other := t.TempDir()
	table := writeFile(t, "day.csv", "run,device,workload,score\nr-0001,unit-oak,tile-sort,60\n")
	must(t, "import", table)
	must(t, "import", table, "--data", other)
	must(t, "run", "correct", "r-0001", "--set-workload", "tile_sort", "--set-note", "here")
	must(t, "run", "correct", "r-0001", "--set-workload", "tile-sort-2", "--data", other)
	out := must(t, "merge", other)
	wantWords(t, out, "1 run here already, with corrections", "corrected in both: r-0001, the later one counts", `"tile-sort-2" there`)
	wantWords(t, must(t, "run", "list", "--json"), `"tile-sort-2"`, `"here"`)
	wantWords(t, must(t, "merge", other), "0 runs added, 1 were here already")
}
