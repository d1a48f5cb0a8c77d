package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"sweepd/run"
)

// try runs one command, which may fail.
func (d *testDay) try(args ...string) outcome {
	d.t.Helper()
	return sweepd(d.t, append(args, d.flags...)...)
}

// recording is the run in progress, nil for none.
func (d *testDay) recording() *run.Run { return d.bench.Agent.Live().Recording }

// begin starts a run and lets it record for a while.
func (d *testDay) begin() (id string) {
	d.t.Helper()
	d.do("run", "start", "--workload", "tile-sort", "--setting", "20W")
	if err := d.bench.Rest(2 * time.Second); err != nil {
		d.t.Fatal(err)
	}
	return d.recording().ID
}

// Whatever is wrong with a stop, the run ends at that moment, and what is still to be given
// is named with the command that gives it.
func TestStopMeansStop(t *testing.T) {
	alone(t)
	d := newTestDay(t)
	frames := filepath.Join(t.TempDir(), "frames.csv")
	if err := os.WriteFile(frames, []byte("frame_ms\n16\nx\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		args    string // a % stands for the run's id
		code    int
		give    string // what the command named gives: "" for nothing left to give
		says    string
		results map[string]run.Result
	}{
		{"--result fps_mean=68,4fps", exitOK, "", "", map[string]run.Result{"fps_mean": {Value: 68.4, Unit: "fps", Better: run.Higher}}},
		{"--result fps_mean=68,4 fps", exitOK, "", "", map[string]run.Result{"fps_mean": {Value: 68.4, Unit: "fps", Better: run.Higher}}},
		{"--result fps_mean=fast", exitFailed, "fps_mean=…", `"fast" is not a number`, nil},
		{"--result fps_mean=1,234", exitFailed, "fps_mean=…", "1,234 may be 1.234 or 1234: write which", nil},
		{"--result fps_mean=-3fps --result score=-5 --result drift=-4°C", exitFailed, "fps_mean=…", "-3 fps is below 0, which no rate and no duration is",
			map[string]run.Result{"score": {Value: -5, Better: run.Higher}, "drift": {Value: -4, Unit: "°C", Better: run.Higher}}},
		{"--result fps_mean", exitFailed, "NAME=VALUE", "not NAME=VALUE", nil},
		{"--result a,b=3", exitFailed, "NAME=VALUE", "may not hold", nil},
		{"--result fps_mean=1 --result fps_mean=2", exitFailed, "fps_mean=…", "given twice", nil},
		{"--result fps_mean=60 --result score=much", exitFailed, "score=…", "not a number", map[string]run.Result{"fps_mean": {Value: 60, Better: run.Higher}}},
		{"--result load=x --lower load", exitFailed, "load=… --lower load", "not a number", nil},
		{"--result fps_mean=60 --lower load", exitFailed, "load=… --lower load", "names no result", map[string]run.Result{"fps_mean": {Value: 60, Better: run.Higher}}},
		{"fps_mean=68.4fps", exitFailed, "fps_mean=68.4fps", "given with --result", nil},
		{"% fps_mean=68.4fps", exitFailed, "fps_mean=68.4fps", "given with --result", nil},
		{"% 60", exitFailed, "NAME=VALUE", `"60" is one word too many`, nil},
		{"--frames /no/such/file", exitFailed, "--frames FILE", "open /no/such/file: no such file or directory", nil},
		{"--frames " + frames + " --result score=7", exitFailed, "--frames FILE", `line 3, column frame_ms: "x": is not a number`, map[string]run.Result{"score": {Value: 7, Better: run.Higher}}},
		{"--frames " + frames + " --frame-unit hours", exitFailed, "--frames FILE", "no unit of frame times", nil},
		{"--frame-column frame_ms", exitFailed, "--frames FILE", "name it with --frames FILE", nil},
		{"--frames " + frames + " --frame-delimiter dash", exitFailed, "--frames FILE", "want one of comma", nil},
		{"--frames " + frames + " --slow-frame often", exitFailed, "--frames FILE", "want a time", nil},
		{"--resutl fps_mean=68.4fps", exitUsage, "fps_mean=68.4fps", "has no flag --resutl: did you mean --result?", nil},
		{"-result fps_mean=68.4fps", exitUsage, "fps_mean=68.4fps", "has no flag -", nil},
		{"--score 10234", exitUsage, "score=10234", "has no flag --score", nil},
		{"--bogus", exitUsage, "NAME=VALUE", "has no flag --bogus", nil},
		{"--jsno %", exitUsage, "NAME=VALUE", "did you mean --json?", nil},
		{"--result fps_mean=60 --not hello", exitUsage, "", "has no flag --not", map[string]run.Result{"fps_mean": {Value: 60, Better: run.Higher}}},
		{"--json=maybe --result fps_mean=60", exitFailed, "", "want true or false", map[string]run.Result{"fps_mean": {Value: 60, Better: run.Higher}}},
	} {
		id := d.begin()
		o := d.try(append([]string{"run", "stop"}, strings.Fields(strings.ReplaceAll(c.args, "%", id))...)...)
		if d.recording() != nil {
			t.Fatalf("%s: the run goes on\n%s", c.args, o.stderr)
		}
		var kept run.Record
		if err := json.Unmarshal([]byte(d.do("run", "show", id, "--json")), &kept); err != nil || kept.State != run.Finished || kept.Seconds() > 2.5 {
			t.Errorf("%s: %v, %s after %v s", c.args, err, kept.State, kept.Seconds())
		}
		said := regexp.MustCompile("^sweepd: run (\\S+) ended at [0-9:]{8}; give the result with `sweepd run result (\\S+) (.+?)`: ").FindStringSubmatch(o.stderr)
		named := len(said) > 0 && said[1] == run.ShortID(id) && said[2] == said[1] && said[3] == c.give
		if o.code != c.code || !strings.Contains(o.stderr, c.says) || c.give != "" && !named || c.give == "" && said != nil {
			t.Errorf("%s: exit %d, want %d and %q given later: %q\n%s", c.args, o.code, c.code, c.give, said, o.stderr)
		}
		if len(kept.Results) != len(c.results) {
			t.Errorf("%s: kept %v, want %v", c.args, kept.Results, c.results)
		}
		for name, want := range c.results {
			if kept.Results[name] != want {
				t.Errorf("%s: kept %v, want %v", c.args, kept.Results, c.results)
			}
		}
	}
}

// What names another run, asks for help or reaches no agent ends nothing.
func TestStopOfNothing(t *testing.T) {
	alone(t)
	d := newTestDay(t)
	old := d.begin()
	d.do("run", "stop")
	id := d.begin()
	for args, want := range map[string]struct {
		code int
		says string
	}{
		"--help":                                   {exitOK, ""},
		"-h --result fps=fast":                     {exitOK, ""},
		"--result fps=fast --help":                 {exitOK, ""},
		old + " --result fps=3":                    {exitOK, ""},
		old + " --result fps=fast":                 {exitFailed, "fps=…"},
		"--jsno " + old:                            {exitUsage, "has no flag --jsno"},
		"ffffffff":                                 {exitFailed, "no such run"},
		"nosuchrun --result fps=3":                 {exitFailed, "no such run"},
		"ffffffff --result fps=fast":               {exitUsage, "no run was stopped"},
		"--agent http://127.0.0.1:1":               {exitFailed, "no agent answers"},
		"--result fps=fast --agent nowhere":        {exitUsage, "is not a URL"},
		"--agent http://127.0.0.1:1 --resutl fps=": {exitUsage, "no run was stopped: no agent answers"},
	} {
		line := append(append([]string{"run", "stop"}, d.flags...), strings.Fields(args)...)
		if o := sweepd(t, line...); o.code != want.code || !strings.Contains(o.stderr, want.says) {
			t.Errorf("%s: exit %d, want %d with %q\n%s", args, o.code, want.code, want.says, o.stderr)
		}
		if r := d.recording(); r == nil || r.ID != id {
			t.Fatalf("%s ended the run", args)
		}
	}
	if o := sweepd(t, append(append([]string{"run", "stop"}, d.flags...), "")...); o.code != exitUsage || !strings.Contains(o.stderr, "RUN is empty") || d.recording() == nil {
		t.Errorf("an empty id: exit %d, %s", o.code, o.stderr)
	}
}

// A stop that was refused its result is typed again: no run is recording by then, and the
// answer has the command that gives the result.
func TestStopTypedAgain(t *testing.T) {
	alone(t)
	d := newTestDay(t)
	id := d.begin()
	d.try("run", "stop", "--result", "fps_mean=fast")
	o := d.try("run", "stop", "--result", "fps_mean=68,4fps")
	m := regexp.MustCompile("run (\\S+) of \"tile-sort\" ended at [0-9:]{8}, by sweepd run stop, without a result: if this is its, add it with `sweepd (run result (\\S+)) \"(.*)\"`").FindStringSubmatch(o.stderr)
	if o.code != exitFailed || m == nil || m[1] != run.ShortID(id) || m[4] != "fps_mean=68.4fps" {
		t.Fatalf("exit %d, %s", o.code, o.stderr)
	}
	d.do(append(strings.Fields(m[2]), m[4])...)
	if out := d.do("run", "show", id); !strings.Contains(out, "68.4") || strings.Contains(out, "result_missing") {
		t.Error(out)
	}
	short := run.ShortID(id)
	for _, c := range []struct{ args, says string }{
		{"--result fps_mean=70fps", ", by sweepd run stop, and has fps_mean=68.4fps, which `sweepd run result " + short + " \"fps_mean=70fps\"` would replace"},
		{"--result fps_mean=68,4", ", by sweepd run stop, and has fps_mean=68.4fps already"},
		{"--result score=12", ", by sweepd run stop, and has a result: if this is its, too, add it with `sweepd run result " + short + ` "score=12"`},
		{"", ", by sweepd run stop: `sweepd run result " + short + " NAME=VALUE` gives it a result"},
		{"--result fps_mean=fast", ", by sweepd run stop: `sweepd run result " + short + " NAME=VALUE` gives it a result"},
	} {
		if o := d.try(append([]string{"run", "stop"}, strings.Fields(c.args)...)...); o.code == exitOK || !strings.Contains(o.stderr, "no run is recording") || !strings.Contains(o.stderr, "run "+short+` of "tile-sort" ended at `) || !strings.Contains(o.stderr, c.says) {
			t.Errorf("run stop %s: exit %d, %s", c.args, o.code, o.stderr)
		}
	}
	out := d.do("run", "result", short, "fps_mean=70")
	wantWords(t, out, "fps_mean 70 fps", "fps_mean was 68.4 fps", "to take it back: `sweepd run result "+short+` "fps_mean=68.4fps"`)
	if out := d.do("run", "result", short, "score=12"); strings.Contains(out, " was ") {
		t.Errorf("nothing was replaced: %s", out)
	}
	out = d.do("run", "result", short, "fps_mean=68.4fps")
	wantWords(t, out, "fps_mean 68.4 fps", "fps_mean was 70 fps")
	out = d.do("run", "result", short, "--frames", writeFile(t, "frames.csv", "frame_ms\n"+strings.Repeat("20\n", 150)))
	wantWords(t, out, "fps_mean was 68.4 fps", "doubt frames_short: the frame times cover 3.0 s")
}

// Words that a person types in the wrong place, or too early, lead to the right command.
func TestDecisionsLeadOn(t *testing.T) {
	alone(t)
	d := newTestDay(t)
	id := d.begin()
	o := d.try("run", "trim", "last")
	wantWords(t, o.stderr, "the run is still recording: stop it first")
	d.do("run", "stop", "--result", "fps_mean=60fps")
	short := run.ShortID(id)
	o = d.try("run", "keep", "last", "--why", "x")
	wantWords(t, o.stderr, "sweepd: run "+short+": the run is not rejected, nor interrupted: there is nothing to keep")
	short = run.ShortID(d.recordTail("15W", 60*time.Second, 25*time.Second))
	d.do("run", "trim", short, "--end", "40s")
	o = d.try("run", "keep", short, "--why", "x")
	wantWords(t, o.stderr, "run "+short+" counts, up to 40.0 s, for it was trimmed: `sweepd run trim "+short+" --undo` has all of it count")
	for args, says := range map[string]string{
		"run reject last --undo":                           "run reject has no flag --undo: `sweepd run keep RUN --why TEXT` has the run count again",
		"run rejct last --why x":                           `unknown command "rejct": did you mean reject?`,
		"run reject last --wy x":                           "run reject has no flag --wy: did you mean --why?",
		"run correct last --set-setting=":                  "--set-setting is empty: give the right setting, or unknown",
		"run correct last --set-supply=":                   "--set-supply is empty",
		"run watch --workload w --result-from a=( -- true": `the pattern "(" cannot be read: missing closing )`,
	} {
		if o := d.try(strings.Fields(args)...); o.code != exitUsage || !strings.Contains(o.stderr, says) {
			t.Errorf("%s: exit %d, %s", args, o.code, o.stderr)
		}
	}
	if out := d.do("run", "correct", "last", "--set-setting", "unknown", "--yes"); !strings.Contains(out, "unknown") {
		t.Error(out)
	}
}
