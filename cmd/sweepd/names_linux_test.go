package main

import (
	"strings"
	"testing"
)

// A name that is probably a slip is asked about at a terminal, and put right, kept or
// taken back as the person says.
func TestNamesAreAskedAboutAtATerminal(t *testing.T) {
	data := alone(t)
	must(t, "import", writeFile(t, "day.csv", "run,device,workload,variant,setting_w,load,units,fps_mean\n"+
		"r-0001,unit-oak,harbour-flight,fan=quiet,15,4.1,load=s;fps_mean=fps,60\nr-0002,unit-oak,harbour-flight,fan=quiet,15,4.3,load=s,\n"))
	results := func() string {
		text := ""
		for _, r := range listedRuns(t, data) {
			if r.ID == "r-0001" {
				text = resultsText(r.Results)
			}
		}
		return text
	}
	before := results()
	if o := typedAt(t, "n\n", "run", "result", "r-0001", "fps_men=61fps"); o.code != exitFailed || results() != before ||
		!strings.Contains(o.stderr, `result "fps_men" was not seen before, near fps_mean. Use fps_mean? [Y/n/new] `) || !strings.Contains(o.stderr, "nothing was done") {
		t.Errorf("n: %+v, %s", o, results())
	}
	if o := typedAt(t, "\x04", "run", "result", "r-0001", "fps_men=61fps"); o.code != exitFailed || results() != before {
		t.Errorf("the end of the input: %+v, %s", o, results())
	}
	if o := typedAt(t, "\n", "run", "result", "r-0001", "fps_men=61fps"); o.code != exitOK || strings.Contains(results(), "fps_men") || !strings.Contains(results(), "fps_mean 61 fps") {
		t.Errorf("Enter: %+v, %s", o, results())
	}
	if o := typedAt(t, "y\n", "run", "result", "r-0001", "load=4200ms"); o.code != exitOK || !strings.Contains(results(), "load 4.2 s") ||
		!strings.Contains(o.stderr, "result load was in s before, not in ms (1 ms is 0.001 s). Convert it to s? [Y/n/new] ") {
		t.Errorf("a unit: %+v, %s", o, results())
	}
	if o := typedAt(t, "\n", "run", "result", "r-0001", "fps_mean=16ms"); o.code != exitFailed || !strings.Contains(o.stderr, "Keep it in ms? [y/N] ") {
		t.Errorf("a unit that measures something else: %+v", o)
	}
	if o := typedAt(t, "new\n", "run", "result", "r-0001", "fps_men=61fps"); o.code != exitOK || !strings.Contains(results(), "fps_men 61 fps") {
		t.Errorf("new: %+v, %s", o, results())
	}
	if o := typedAt(t, "", "run", "result", "r-0001", "fps_meen=61fps", "--new"); o.code != exitOK || o.stderr != "" {
		t.Errorf("--new: %+v", o)
	}
	plan := func(lines string) outcome {
		return typedAt(t, lines, "plan", "new", "--device", "unit-oka", "--workload", "harbor-flight", "--settings", "15W", "--variant", "fan=qiuet", "--supply", "mains")
	}
	o := plan("y\ny\ny\n")
	for _, name := range []string{`device "unit-oka" was not seen before, near unit-oak`, `workload "harbor-flight"`, "variant fan=qiuet was not seen before, near fan=quiet"} {
		if o.code != exitOK || !strings.Contains(o.stderr, name) {
			t.Errorf("plan new: %+v, want %q", o, name)
		}
	}
	if out := must(t, "plan", "status", "--csv"); strings.Contains(out, "harbor") || strings.Contains(out, "unit-oka") || !strings.Contains(out, "unit-oak,harbour-flight,fan=quiet") {
		t.Errorf("the plan has what was typed: %s", out)
	}
}

// Starting, stopping, watching and declaring find slips too, and a question never holds
// up a stop.
func TestNamesOfARunThatIsRecorded(t *testing.T) {
	alone(t)
	d := newTestDay(t)
	typed := func(lines string, args ...string) outcome { return typedAt(t, lines, append(args, d.flags...)...) }
	d.do("run", "start", "--workload", "harbour-flight", "--setting", "quiet", "--variant", "fan=quiet")
	d.do("run", "stop", "--result", "fps_mean=60fps")

	start := []string{"run", "start", "--workload", "harbor-flight", "--setting", "quite", "--variant", "fna=quiet"}
	if o := typed("y\nn\n", start...); o.code != exitFailed || d.recording() != nil || !strings.Contains(o.stderr, `setting "quite" was not seen before, near quiet. Use quiet? [Y/n/new] `) {
		t.Errorf("n: %+v", o)
	}
	if o := typed("\ny\nyes\n", start...); o.code != exitOK || d.recording() == nil {
		t.Fatalf("yes: %+v", o)
	}
	if r := d.recording(); r.Workload != "harbour-flight" || r.Setting.String() != "quiet" || r.Variant != "fan=quiet" {
		t.Errorf("what was seen is meant: %+v", r.Labels)
	}
	// The run has ended whatever is answered.
	if o := typed("n\n", "run", "stop", "--result", "fps_men=61fps"); o.code != exitOK || d.recording() != nil || !strings.Contains(o.out, "fps_men 61 fps") ||
		!strings.Contains(o.stderr, `result "fps_men" was not seen before, near fps_mean. Use fps_mean? [Y/n/new] `) {
		t.Errorf("stop: %+v", o)
	}
	d.do("run", "start", "--workload", "harbour-flight")
	if o := typed("\n", "run", "stop", "--result", "fps_maen=62fps"); o.code != exitOK || d.recording() != nil || !strings.Contains(o.stderr, "fps_maen is now called fps_mean") {
		t.Errorf("stop: %+v", o)
	}
	if out := d.do("run", "show", "last"); !strings.Contains(out, "fps_mean 62 fps") {
		t.Errorf("the result has its old name: %s", out)
	}
	d.do("run", "start", "--workload", "harbour-flight")
	if o := d.try("run", "stop", "--result", "fpsmean=16fps"); o.code != exitOK ||
		!strings.Contains(strings.Join(strings.Fields(o.stderr), " "), `--rename-result "fpsmean=fps_mean"`) {
		t.Errorf("stop in a script: %+v", o)
	}
	if o := d.try(start...); o.code != exitOK || d.recording().Workload != "harbor-flight" || !strings.Contains(o.stderr, `warning: workload "harbor-flight" was not seen before, near harbour-flight`) ||
		!strings.Contains(strings.Join(strings.Fields(o.stderr), " "), `sweepd run correct last --set-workload "harbour-flight"`) {
		t.Errorf("in a script: %+v", o)
	}
	if o := d.try("run", "stop", "--result", "fps_mean=16ms"); o.code != exitOK || !strings.Contains(strings.Join(strings.Fields(o.stderr), " "), "warning: result fps_mean was in fps before, not in ms") {
		t.Errorf("another unit: %+v", o)
	}
	watch := append([]string{"run", "watch", "--workload", "harbour-flight", "--result-from", "fps_maen=([0-9.]+)"}, append(d.flags, "--", "echo", "61.5")...)
	if o := typedAt(t, "y\n", watch...); o.code != exitOK || !strings.Contains(o.out, "fps_mean 61.5") {
		t.Errorf("watch: %+v", o)
	}
	if o := typed("y\n", "setting", "quiett"); o.code != exitOK || !strings.HasPrefix(o.out, "quiet (declared") {
		t.Errorf("setting: %+v", o)
	}
	if o := d.try("setting", "performance"); o.code != exitOK || o.stderr != "" { // a profile of the kernel's
		t.Errorf("setting: %+v", o)
	}
}
