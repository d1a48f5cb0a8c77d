package main

import (
	"regexp"
	"strings"
	"testing"

	"sweepd/run"
	"sweepd/testday"
)

// A run that takes its labels from the plan declares the setting for the plan, and the
// answers say so.
func TestThePlanDeclares(t *testing.T) {
	alone(t)
	d := newTestDay(t)
	d.do("plan", "new", "--device", "unit-oak", "--workload", "tile-sort", "--settings", "15", "--supply", "mains")
	d.do("run", "start")
	wantWords(t, d.do("setting"), "15W (declared just now by the plan)")
	d.do("run", "stop")
}

// Whoever follows the wrong plan goes back to the right one: each keeps its number, its
// runs and what was appended to it.
func TestFollowingTheWrongPlan(t *testing.T) {
	alone(t)
	for _, settings := range []string{"15", "20,25", "28"} {
		must(t, "plan", "new", "--device", "unit-oak", "--workload", "tile-sort", "--settings", settings, "--supply", "mains", "--repeats", "1", "--replace")
	}
	list := func(want ...string) {
		t.Helper()
		var got []string
		for _, line := range strings.Split(must(t, "plan", "list"), "\n")[1:] {
			if f := regexp.MustCompile(`^ *(\d+) .* (\d+) +\d+ +\d+ *(in force)?$`).FindStringSubmatch(line); f != nil {
				got = append(got, strings.TrimSpace(f[1]+": "+f[2]+" "+f[3]))
			}
		}
		if strings.Join(got, "; ") != strings.Join(want, "; ") {
			t.Errorf("%q, want %q", got, want)
		}
	}
	list("1: 1", "2: 2", "3: 1 in force")
	wantWords(t, must(t, "plan", "follow", "1"), "plan 1 ")
	list("1: 1 in force", "2: 2", "3: 1")
	must(t, "plan", "extend", "--repeats", "2")
	wantWords(t, must(t, "plan", "follow", "2"), "plan 2 ")
	list("1: 3", "2: 2 in force", "3: 1")
	if o := sweepd(t, "plan", "follow", "2"); o.code != exitFailed || !strings.Contains(o.stderr, "plan 2 is in force already") {
		t.Errorf("followed twice: %+v", o)
	}
	must(t, "plan", "follow", "3")
	must(t, "plan", "follow", "1")
	list("1: 3 in force", "2: 2", "3: 1")
	wantWords(t, must(t, "plan", "status"), "plan 1 ")
	if o := sweepd(t, "plan", "new", "--device", "unit-oak", "--workload", "tile-sort", "--settings", "30"); o.code != exitFailed || !strings.Contains(o.stderr, "plan 1 is in force") {
		t.Errorf("a new one: %+v", o)
	}
}

// A correction may hold a slip, too: at a terminal it is asked about before anything
// changes, elsewhere it is warned of, and --new says that it is meant. What is put right was
// no name that was seen.
func TestSlipsInCorrections(t *testing.T) {
	alone(t)
	t.Setenv("COLUMNS", "1000")
	must(t, "import", writeFile(t, "day.csv", "run,device,workload,variant,setting,fps_mean,load_time\n"+
		"r-0001,unit-oak,harbour-flight,fan=quiet,quiet,60,\nr-0002,unit-oak,harbour-flight,fan=quiet,quiet,61,\n"+
		"r-0003,unit-oak,tile-sotr,fan=quiet,quiet,62,\nr-0004,unit-elm,harbour-flight,,quiet,,63\n"))
	of := func(id string) string {
		t.Helper()
		r := asked[run.Run](t, "run show "+id)
		return r.Cell().String() + ", " + resultsText(r.Results)
	}
	before := of("r-0003")
	for _, c := range []struct{ args, doubted, right string }{
		{"--set-workload harbor-flight", `workload "harbor-flight" was not seen before, near harbour-flight. Use harbour-flight? [Y/n/new] `, "harbour-flight"},
		{"--set-setting quiett", `setting "quiett" was not seen before, near quiet. Use quiet? [Y/n/new] `, "quiet"},
		{"--set-variant fna=loud", `variant key "fna" was not seen before, near fan. Use fan? [Y/n/new] `, "fan=loud"},
		{"--set-variant fan=qiuet", `variant fan=qiuet was not seen before, near fan=quiet. Use quiet? [Y/n/new] `, "fan=quiet"},
		{"--set-device unit-eml", `device "unit-eml" was not seen before, near unit-elm. Use unit-elm? [Y/n/new] `, "unit-elm"},
		{"--rename-result fps_mean=load_tiem", `result "load_tiem" was not seen before, near load_time. Use load_time? [Y/n/new] `, "load_time 62"},
	} {
		args := append([]string{"run", "correct", "r-0003"}, strings.Fields(c.args)...)
		if o := typedAt(t, "n\n", args...); o.code != exitFailed || !strings.Contains(o.stderr, c.doubted) || of("r-0003") != before {
			t.Errorf("%s, n: %+v, %s", c.args, o, of("r-0003"))
		}
		typed := strings.Fields(strings.NewReplacer("=", " ").Replace(c.args))
		slip := typed[len(typed)-1]
		if o := typedAt(t, "\n", args...); o.code != exitOK || !strings.Contains(of("r-0003"), c.right) || c.doubted != "" && strings.Contains(of("r-0003"), " "+slip+",") {
			t.Errorf("%s, Enter: %+v, %s", c.args, o, of("r-0003"))
		}
		if of("r-0003") != before {
			must(t, "run", "correct", "--undo")
		}
		if o := sweepd(t, append(args, "--dry-run")...); o.code != exitOK || !strings.Contains(o.stderr, "warning: ") || of("r-0003") != before {
			t.Errorf("%s, a dry run: %+v", c.args, o)
		}
		o := sweepd(t, args...)
		if o.code != exitOK || !strings.Contains(o.stderr, "warning: ") || !strings.Contains(o.stderr, "not seen before, near ") || of("r-0003") == before {
			t.Errorf("%s in a script: %+v, %s", c.args, o, of("r-0003"))
		}
		must(t, "run", "correct", "--undo")
		if o := typedAt(t, "", append(args, "--new")...); o.code != exitOK || o.stderr != "" || of("r-0003") == before {
			t.Errorf("%s --new: %+v, %s", c.args, o, of("r-0003"))
		}
		must(t, "run", "correct", "--undo")
	}
	// The wrong name itself is near the right one.
	if o := typedAt(t, "", "run", "correct", "r-0003", "--set-workload", "tile-sort"); o.code != exitOK || o.stderr != "" {
		t.Errorf("a name is put right: %+v", o)
	}
	// Of many runs the name is asked about first, then whether all are meant.
	if o := typedAt(t, "y\ny\n", "run", "correct", "--device", "unit-oak", "--set-workload", "harbor-flight"); o.code != exitOK || !strings.Contains(o.stderr, "Correct 1 run?") && !strings.Contains(of("r-0003"), "harbour-flight") {
		t.Errorf("many: %+v", o)
	}
	for _, c := range []struct {
		lines string
		want  int
	}{{"n\n", exitFailed}, {"\nn\n", exitFailed}, {"\ny\n", exitOK}} {
		if o := typedAt(t, c.lines, "device", "rename", "unit-elm", "unit-oka"); o.code != c.want || !strings.Contains(o.stderr, `device "unit-oka" was not seen before, near unit-oak. Use unit-oak? [Y/n/new] `) {
			t.Errorf("rename, %q: %+v", c.lines, o)
		}
	}
	if of("r-0004") != "unit-oak, harbour-flight, quiet, load_time 63" {
		t.Errorf("renamed: %s", of("r-0004"))
	}
	must(t, "device", "rename", "unit-elm", "unit-oak", "--undo")
	if o := sweepd(t, "device", "rename", "unit-elm", "unit-oka", "--dry-run"); o.code != exitOK || !strings.Contains(o.stderr, "warning: ") {
		t.Errorf("rename, a dry run: %+v", o)
	}
	if o := typedAt(t, "", "device", "rename", "unit-elm", "unit-oka", "--new"); o.code != exitOK || o.stderr != "" {
		t.Errorf("rename --new: %+v", o)
	}
}

// A unit that a result never had is treated as a name is: the run has ended, then the
// person at a terminal is asked, and elsewhere the warning says how it is put right.
func TestUnitsThatWereNeverSeen(t *testing.T) {
	alone(t)
	t.Setenv("COLUMNS", "1000")
	d := newTestDay(t)
	typed := func(lines string, args ...string) outcome { return typedAt(t, lines, append(args, d.flags...)...) }
	d.begin()
	d.do("run", "stop", "--result", "load=4.2s", "--result", "fps_mean=60fps", "--lower", "load")
	for _, c := range []struct{ lines, result, asks, says, has string }{
		{"\n", "load=4100ms", "Convert it to s? [Y/n/new] ", "it is now load 4.1 s", "load 4.1 s"},
		{"new\n", "load=4100ms", "Convert it to s? [Y/n/new] ", "", "load 4100 ms"},
		{"n\n", "load=4100ms", "Convert it to s? [Y/n/new] ", "", "load 4100 ms"},
		{"y\n", "fps_mean=16ms", "Keep it in ms? [y/N] ", "", "fps_mean 16 ms"},
		{"\n", "fps_mean=16ms", "Keep it in ms? [y/N] ", "to put it right: `sweepd run result ", "fps_mean 16 ms"},
	} {
		id := d.begin()
		o := typed(c.lines, "run", "stop", "--result", c.result)
		k := d.kept(id)
		if o.code != exitOK || d.recording() != nil || !strings.Contains(o.stderr, c.asks) || !strings.Contains(o.stderr, c.says) || c.says == "" && strings.Contains(o.stderr, "put it right") || resultsText(k.Results) != c.has {
			t.Errorf("%s, %q: %+v, has %s", c.result, c.lines, o, resultsText(k.Results))
		}
		d.do("run", "correct", id, "--remove-result", strings.Split(c.result, "=")[0])
	}
	id := d.begin()
	o := d.try("run", "stop", "--result", "load=4100ms")
	if want := "warning: result load was in s before, not in ms (1 ms is 0.001 s); run " + run.ShortID(id) + " has it as it was given; to put it right: `sweepd run result " + run.ShortID(id) + ` "load=4.1s"` + "`"; o.code != exitOK || !strings.Contains(o.stderr, want) {
		t.Errorf("in a script: %+v, want %s", o, want)
	}
	d.do("run", "result", id, "load=4.1s")
	watch := append([]string{"run", "watch", "--workload", "tile-sort", "--result-from", "load=took ([0-9]+ ms)"}, append(d.flags, "--", "echo", "took 3900 ms")...)
	if o := typedAt(t, "y\n", watch...); o.code != exitOK || !strings.Contains(o.stderr, "it is now load 3.9 s") {
		t.Errorf("watch: %+v", o)
	}
}

// Conditions that were typed wrong are corrected as labels are, and the runs of the cell are
// held against each other again; the runs after have the right ones.
func TestTypedConditionsAreCorrected(t *testing.T) {
	alone(t)
	d := newTestDay(t)
	data := d.flags[1]
	start := []string{"--workload", "harbour-flight", "--setting", "15W"}
	for range 2 {
		d.typed(nil, append(start, "--workload-version", "1.4.2", "--room", "23C")...)
	}
	id := d.typed(nil, append(start, "--workload-version", "1.2.4", "--room", "73F", "--refresh", "120Hz")...)
	differs := func(when string, want bool) {
		t.Helper()
		if k := d.kept(id); k.HasFinding(run.ConditionsDiffer) != want {
			t.Errorf("%s: %s", when, codesOf(k))
		}
	}
	if err := testday.MarkUnlike(t.Context(), d.store, d.kept(id).Run, testday.Thresholds{}, d.bench.Now()); err != nil { // as the agent does when a run ends
		t.Fatal(err)
	}
	differs("another version", true)
	for args, says := range map[string]string{
		"--set-room 73":               "has no unit: is it 73C or 73F?",
		"--set-refresh 2000Hz":        "is not from 1 to 1000 Hz",
		"--set-workload-version \x07": "one line of plain text",
	} {
		wantWords(t, d.refused(exitUsage, append([]string{"run", "correct", id}, strings.Fields(args)...)...), says)
	}
	out := d.do("run", "correct", id, "--set-workload-version", "1.4.2", "--set-room", "24C", "--set-refresh", "none")
	wantWords(t, out, "version of the workload 1.2.4 → 1.4.2", "room temperature 22.8 °C → 24.0 °C", "120 Hz → (none)")
	differs("corrected", false)
	facts := func() string {
		k := d.kept(id)
		return k.Facts[run.WorkloadVersion] + " " + k.Facts[run.RoomTemperature] + " " + k.Facts[run.DisplayRefresh]
	}
	if got := facts(); got != "1.4.2 24 " {
		t.Errorf("corrected to %q", got)
	}
	other := t.TempDir()
	must(t, "merge", data, "--data", other)
	d.do("run", "correct", "--undo")
	differs("taken back", true)
	if got := facts(); got != "1.2.4 22.78 120" {
		t.Errorf("taken back to %q", got)
	}
	wantWords(t, d.do("run", "history", id), "1.4.2 → 1.2.4", "taking back ")
	must(t, "merge", data, "--data", other)
	if k := asked[testday.KeptRun](t, "run show "+id+" --data "+other); k.Facts[run.WorkloadVersion] != "1.2.4" || !k.HasFinding(run.ConditionsDiffer) {
		t.Errorf("merged again: version %s, %s", k.Facts[run.WorkloadVersion], codesOf(k))
	}
	d.do("run", "correct", "--since", "2h", "--set-workload-version", "1.5", "--yes")
	differs("all of them", false)
	next := d.typed(nil, start...)
	if v := d.kept(next).Facts[run.WorkloadVersion]; v != "1.5" {
		t.Errorf("the next run has version %q", v)
	}
	must(t, "check", "--data", other)

	must(t, "import", writeFile(t, "day.csv", "run,device,workload,score\nr-0001,unit-oak,tile-sort,60\n"))
	if o := sweepd(t, "run", "correct", "r-0001", "--set-room", "23C"); o.code != exitFailed || !strings.Contains(o.stderr, "of a table") {
		t.Errorf("a table's run: %+v", o)
	}
}

// Slips of one test day, each made by somebody who tried the program.
func TestSlipsOfADay(t *testing.T) {
	alone(t)
	t.Setenv("COLUMNS", "1000")
	d := newTestDay(t)
	id := d.begin()
	if o := d.try("run", "start", "--workload", "tile-sort"); o.code != exitFailed || strings.Contains(o.stderr, "fit to start") ||
		!strings.Contains(o.stderr, "run "+run.ShortID(id)+` of "tile-sort" is still recording: stop it first`) {
		t.Errorf("started twice: %+v", o)
	}
	d.do("run", "stop", "--result", "fps_mean=60fps")
	d.do("run", "correct", "last", "--set-variant", "cores=6")
	wantWords(t, d.refused(exitFailed, "run", "correct", "last", "--remove-variant", "cors"), `no selected run has the variant key "cors": did you mean cores?`)
	wantWords(t, d.refused(exitFailed, "run", "correct", "--workload", "tile-srot", "--set-variant", "cores=8"), "no run fits", `no run has the workload "tile-srot": did you mean tile-sort?`)

	// A value that is put right keeps the unit, until another one is given.
	d.do("run", "result", "last", "fps_mean=61")
	wantWords(t, d.do("run", "show", "last"), "fps_mean 61 fps")
	d.do("run", "stop", id, "--result", "fps_mean=62")
	wantWords(t, d.do("run", "show", "last"), "fps_mean 62 fps")
	table := writeFile(t, "results.csv", "run,fps_mean (ms)\n"+run.ShortID(id)+",16\n")
	wantWords(t, d.refused(exitFailed, "run", "result", "--from", table), "line 1, column fps_mean: result fps_mean was in fps before, not in ms; --new says that it is meant")
	d.do("run", "result", "--from", table, "--new")
	wantWords(t, d.do("run", "show", "last"), "fps_mean 16 ms")
	d.do("run", "correct", "--undo")

	// Where a stop could not use all, the slip in what it could is told, too.
	d.begin()
	o := d.try("run", "stop", "--result", "fps_maen=61fps", "--frames", "nosuch.csv")
	if o.code != exitFailed || !strings.Contains(o.stderr, `warning: result "fps_maen" was not seen before, near fps_mean`) || !strings.Contains(o.stderr, "open nosuch.csv") {
		t.Errorf("a stop with two slips: %+v", o)
	}
}

// Whoever stops a run whose agent died meanwhile is told how it counts with its result.
func TestStopOfARunWhoseAgentDied(t *testing.T) {
	alone(t)
	liveDevice(t)
	a := startAgent(t)
	must(t, "run", "start", "--workload", "tile-sort", "--setting", "15W")
	id := run.ShortID(asked[testday.Overview](t, "status").Agent.Recording.ID)
	a.stop()
	startAgent(t)
	for _, c := range []struct{ args, says string }{
		{"run stop", "`sweepd run keep " + id + " --why TEXT` counts it"},
		{"run stop --result score=5", "`sweepd run keep " + id + " --why TEXT` counts it, and its result is added with `sweepd run result " + id + " \"score=5\"`"},
	} {
		if o := sweepd(t, strings.Fields(c.args)...); o.code != exitFailed || !strings.Contains(o.stderr, "run "+id+` of "tile-sort" was interrupted at `) || !strings.Contains(o.stderr, c.says) {
			t.Errorf("%s: %+v", c.args, o)
		}
	}
}
