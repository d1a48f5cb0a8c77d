package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"sweepd/internal/simdevice"
	"sweepd/run"
	"sweepd/store/sqlite"
)

// The cells of the day that is played twice, each with two runs.
var clumsyCells = []string{"--workload", "harbour-flight", "--workload", "tile-sort", "--settings", "12-28/8", "--repeats", "2", "--seed", "5",
	"--run-time", "20s", "--pause", "60s"}

// clumsyDay is a test day whose person knows which numbers the workloads report: the same
// for both persons, cell by cell.
type clumsyDay struct {
	*testDay
	results map[string][]typedResult // of each cell, in the order of its runs; the tidy day fills it
	made    map[string]int           // runs of each cell so far
	slips   []string                 // that happened
}

// typedResult is a number as the workload shows it.
type typedResult struct {
	metric, unit string
	value        float64
	lower        bool
}

func (r typedResult) String() string { return r.metric + "=" + r.number() + r.unit }

func (r typedResult) number() string { return strconv.FormatFloat(r.value, 'f', 1, 64) }

func (r typedResult) flags() []string {
	if r.lower {
		return []string{"--lower", r.metric}
	}
	return nil
}

func (p planned) key() string {
	return fmt.Sprintf("%s at %v W on %s", p.Workload, p.Setting.Watts, p.Supply)
}

// labels are those of a cell, as they are typed.
func (p planned) labels() []string {
	return []string{"--workload", p.Workload, "--setting", fmt.Sprintf("%gW", p.Setting.Watts)}
}

// TestAClumsyDay plays a day twice: with everything done right, and by a person who makes
// the slips that were seen on real days. Put right by the commands that the program
// names, both days are one: the same runs, the same comparisons.
func TestAClumsyDay(t *testing.T) {
	if testing.Short() {
		t.Skip("two test days")
	}
	alone(t)
	tidy := &clumsyDay{testDay: newTestDay(t), results: map[string][]typedResult{}, made: map[string]int{}}
	tidy.do(append([]string{"plan", "new", "--device", "unit-oak"}, clumsyCells...)...)
	for p, left := tidy.next(); left > 0; p, left = tidy.next() {
		tidy.tidyRun(p)
	}
	clumsy := &clumsyDay{testDay: newTestDay(t), results: tidy.results, made: map[string]int{}}
	person(t) // who names no folder, and has an empty one of the usual name
	clumsy.flags = clumsy.flags[slices.Index(clumsy.flags, "--agent"):]
	clumsy.planTheDay()
	runs := 0
	for p, left := clumsy.next(); left > 0; p, left = clumsy.next() {
		if runs > 40 {
			t.Fatal("the day does not end")
		}
		if runs < len(slips) {
			slips[runs](clumsy, p)
		} else {
			clumsy.tidyRun(p)
		}
		runs++
	}
	if runs < len(slips) {
		t.Fatalf("the day had %d runs, too few for %d slips", runs, len(slips))
	}
	clumsy.evening(tidy)
	clumsy.compareWith(tidy)
	t.Logf("%d runs, %d slips: %s", runs, len(clumsy.slips), strings.Join(clumsy.slips, "; "))
}

// result is what the workload shows at the end of the next run of a cell.
func (d *clumsyDay) result(p planned) typedResult {
	d.t.Helper()
	n := d.made[p.key()]
	d.made[p.key()]++
	if n >= len(d.results[p.key()]) {
		d.t.Fatalf("run %d of %s is one too many\n%s\n%s", n+1, p.key(), d.do("run", "list"), d.do("plan", "status"))
	}
	return d.results[p.key()][n]
}

// slip notes what went wrong, for the log.
func (d *clumsyDay) slip(what string) { d.slips = append(d.slips, what) }

// failed runs a command that must not succeed, and must say what to do.
func (d *clumsyDay) failed(code int, says string, args ...string) {
	d.t.Helper()
	if o := d.try(args...); o.code != code || !strings.Contains(strings.Join(strings.Fields(o.out+" "+o.stderr), " "), says) {
		d.t.Errorf("sweepd %s: exit %d, want %d with %q\n%s%s", strings.Join(args, " "), o.code, code, says, o.out, o.stderr)
	}
}

// warned runs a command that succeeds and says something on the way.
func (d *clumsyDay) warned(says string, args ...string) string {
	d.t.Helper()
	o := d.try(args...)
	if o.code != exitOK || !strings.Contains(strings.Join(strings.Fields(o.out+" "+o.stderr), " "), says) {
		d.t.Errorf("sweepd %s: exit %d, want 0 with %q\n%s%s", strings.Join(args, " "), o.code, says, o.out, o.stderr)
	}
	return o.out
}

// start starts a run with what was typed and lets the workload play.
func (d *clumsyDay) start(p planned, typed ...string) (id string) {
	d.t.Helper()
	d.do(append([]string{"run", "start"}, typed...)...)
	return d.play(p)
}

// play lets the workload play for 20 s in the run that was started.
func (d *clumsyDay) play(p planned) (id string) {
	d.t.Helper()
	r := d.recording()
	if r == nil {
		d.t.Fatal("no run is recording")
	}
	d.bench.Recording(true)
	workload := simdevice.HarbourFlight()
	if p.Workload == "tile-sort" {
		workload = simdevice.TileSort()
	}
	d.bench.Device.StartWorkload(workload)
	d.pass(20 * time.Second)
	played, _ := d.bench.Device.StopWorkload()
	if err := d.bench.Device.Flush(); err != nil {
		d.t.Fatal(err)
	}
	if d.slips == nil && d.made[p.key()] == len(d.results[p.key()]) { // the tidy day
		value := float64(int(played.Value*10)) / 10 // as it is typed
		d.results[p.key()] = append(d.results[p.key()], typedResult{played.Metric, played.Unit, value, played.LowerIsBetter})
	}
	return r.ID
}

// agentDies has another agent in the place of the one that watched.
func (d *clumsyDay) agentDies() {
	d.t.Helper()
	if err := d.bench.KillAgent(); err != nil {
		d.t.Fatal(err)
	}
	d.serve()
}

// stop ends the run with its result, as it should be.
func (d *clumsyDay) stop(r typedResult) {
	d.t.Helper()
	d.do(append([]string{"run", "stop", "--result", r.String()}, r.flags()...)...)
	d.bench.Recording(false)
}

func (d *clumsyDay) tidyRun(p planned) {
	d.t.Helper()
	d.prepare(p)
	d.start(p)
	d.stop(d.result(p))
}

// planTheDay plans with the slips that a plan is made with.
func (d *clumsyDay) planTheDay() {
	d.t.Helper()
	d.slip("a range without a step, 0 repeats, a hard key that nothing has, a plan twice")
	plan := func(more ...string) []string { return append([]string{"plan", "new", "--device", "unit-oak"}, more...) }
	d.failed(exitUsage, "12-28/", plan("--workload", "tile-sort", "--settings", "12-28")...)
	d.failed(exitUsage, "such as 8-28/4", plan("--workload", "tile-sort", "--settings", "12..28/8")...)
	d.failed(exitUsage, "0 repeats", plan("--workload", "tile-sort", "--settings", "12-28/8", "--repeats", "0")...)
	d.failed(exitUsage, "no variant has it", plan("--workload", "tile-sort", "--settings", "12-28/8", "--hard", "cores")...)
	d.do(plan(clumsyCells...)...)
	d.failed(exitFailed, "--replace", plan("--workload", "tile-sort", "--settings", "12W")...)
}

// slips are what happens in the first runs of the day, in this order.
var slips = []func(*clumsyDay, planned){
	func(d *clumsyDay, p planned) {
		d.slip("a result that is no number, then one with a decimal comma, given to the run that has ended")
		d.prepare(p)
		id := d.start(p)
		r := d.result(p)
		d.failed(exitFailed, "run result "+run.ShortID(id), append([]string{"run", "stop", "--result", r.metric + "=" + r.number() + "," + r.unit}, r.flags()...)...)
		d.bench.Recording(false)
		if d.recording() != nil {
			d.t.Fatal("the run goes on")
		}
		d.do(append([]string{"run", "result", strings.ToUpper(run.ShortID(id))[2:], r.metric + "=" + strings.Replace(r.number(), ".", ",", 1) + r.unit}, r.flags()...)...)
	},
	func(d *clumsyDay, p planned) {
		d.slip("stopped twice")
		d.tidyRun(p)
		d.failed(exitFailed, "no run is recording", "run", "stop")
	},
	func(d *clumsyDay, p planned) {
		d.slip("the agent died when the workload had ended")
		d.prepare(p)
		id := d.start(p)
		d.agentDies()
		r := d.result(p)
		d.failed(exitFailed, "no run is recording", "run", "stop", "--result", r.String())
		d.do("run", "keep", id, "--why", "the workload had ended")
		d.do(append([]string{"run", "result", id, r.String()}, r.flags()...)...)
	},
	func(d *clumsyDay, p planned) {
		d.slip("started and stopped at once, then again")
		d.prepare(p)
		d.do("run", "start")
		d.do("run", "stop")
		if out := d.do("battery", "--json"); p.Supply == "battery" && !strings.Contains(out, "too short, 0.0 s") {
			d.t.Errorf("a run of no time is not left out:\n%s", out)
		}
		d.do("run", "reject", "last", "--why", "started by mistake")
		d.start(p, p.labels()...) // the plan has gone on, and would come back to it
		d.stop(d.result(p))
	},
	func(d *clumsyDay, p planned) {
		d.slip("the agent was started anew between declaring the setting and the run")
		d.prepare(p)
		d.do("setting", fmt.Sprintf("%gW", p.Setting.Watts))
		d.agentDies()
		d.start(p, "--workload", p.Workload)
		d.stop(d.result(p))
	},
	func(d *clumsyDay, p planned) {
		d.slip("another setting typed than was set, and corrected")
		d.prepare(p)
		id := d.start(p, "--workload", p.Workload, "--setting", fmt.Sprintf("%gW", p.Setting.Watts+4))
		d.stop(d.result(p))
		d.found(id, run.SettingDisagrees, true)
		d.do("run", "correct", id, "--set-setting", fmt.Sprintf("%gW", p.Setting.Watts))
		d.found(id, run.SettingDisagrees, false)
		d.found(id, run.SettingDisobeyed, false)
	},
	func(d *clumsyDay, p planned) {
		d.slip("a variant that was none")
		d.prepare(p)
		id := d.start(p, append(p.labels(), "--variant", "cores=6")...)
		d.stop(d.result(p))
		d.do("run", "correct", id, "--remove-variant", "cores", "--dry-run")
		if r := d.show(id); r.Variant != "cores=6" {
			d.t.Errorf("a dry run made the variant %q", r.Variant)
		}
		d.do("run", "correct", id, "--remove-variant", "cores")
	},
	func(d *clumsyDay, p planned) {
		d.slip("a result under another name, a note for another run, and a correction too many")
		d.prepare(p)
		id := d.start(p, append(p.labels(), "--note", "of another run")...)
		r := d.result(p)
		typed := r
		typed.metric = "fast"
		d.stop(typed)
		d.do("run", "correct", id, "--rename-result", "fast="+r.metric, "--set-note", "", "--why", "typed in a hurry")
		d.do("run", "correct", id, "--set-workload", "idle-clock")
		d.do("run", "correct", "--undo")
	},
	func(d *clumsyDay, p planned) {
		d.slip("the workload's name misspelt, and corrected together with others of that name")
		d.prepare(p)
		misspelt := strings.Replace(p.Workload, "o", "", 1)
		d.warned(p.Workload, "run", "start", "--workload", misspelt, "--setting", fmt.Sprintf("%gW", p.Setting.Watts))
		d.play(p)
		d.stop(d.result(p))
		d.do("run", "correct", "--workload", misspelt, "--set-workload", p.Workload)
	},
	func(d *clumsyDay, p planned) {
		d.slip("frame times taken for another unit")
		d.prepare(p)
		id := d.start(p)
		r := d.result(p)
		d.stop(r)
		frames := d.file("frames.csv", "frame_time\n"+strings.Repeat("16667\n", 1200)) // 20 s in microseconds
		d.failed(exitFailed, "--frame-unit us", "run", "result", id, "--frames", frames, "--frame-unit", "ms")
		if got := d.show(id); len(got.Results) != 1 {
			d.t.Errorf("results %v of frame times that were refused", got.Results)
		}
	},
	func(d *clumsyDay, p planned) {
		d.slip("a result forgotten, and given by a table")
		d.prepare(p)
		id := d.start(p)
		r := d.result(p)
		d.do("run", "stop")
		d.bench.Recording(false)
		table := d.file("results.csv", fmt.Sprintf("run;%s (%s)\n%s;%s\n", r.metric, r.unit, run.ShortID(id), strings.Replace(r.number(), ".", ",", 1)))
		d.do(append([]string{"run", "result", "--from", table}, r.flags()...)...)
	},
	func(d *clumsyDay, p planned) {
		d.slip("started hot in spite of what was said, rejected, and done again")
		d.prepare(p)
		d.bench.Device.HeatTo(75)
		d.rest(time.Second)
		d.warned("started all the same", "run", "start")
		d.play(p)
		r := d.result(p)
		d.stop(r)
		d.found(d.last(), run.HotStart, true)
		d.do("run", "reject", "last", "--why", "hot")
		d.prepare(p)
		d.start(p, p.labels()...)
		d.stop(r)
	},
	func(d *clumsyDay, p planned) {
		d.slip("the room given with a decimal comma, and a log that is no meter's")
		d.prepare(p)
		id := d.start(p, "--room", "22,5C")
		d.stop(d.result(p))
		d.failed(exitFailed, "line 2", "run", "meter", id, d.file("meter.csv", "time,watts\n0,dim\n"))
		if r := d.show(id); r.Facts[run.RoomTemperature] != "22.5" {
			d.t.Errorf("facts without the room's temperature: %v", r.Facts)
		}
	},
	func(d *clumsyDay, p planned) {
		d.slip("the run went on long after the workload had ended")
		d.prepare(p)
		id := d.start(p)
		d.pass(25 * time.Second)
		d.stop(d.result(p))
		d.found(id, run.IdleTail, true)
		d.found(id, run.SettingDisobeyed, false) // the tail says nothing of the setting
		d.do("run", "trim", id)
		if r := d.show(id); r.DurationS == nil || *r.DurationS < 19 || *r.DurationS > 22 {
			d.t.Errorf("trimmed to %v s, the workload took 20 s\n%s", r.Seconds(), describe(r))
		}
	},
}

// evening is what is left when the plan is done: tables, another device, and looking back.
func (d *clumsyDay) evening(tidy *clumsyDay) {
	d.t.Helper()
	d.slip("a table of last year typed by hand in another country's way, twice, with a wrong column first")
	tidy.do("import", tidy.file("old.csv", "device,workload,supply,setting_w,fps_mean (fps)\nunit-elm,harbour-flight,mains,12,61.4\nunit-elm,harbour-flight,mains,20,80.1\n"))
	rows := "unit-elm;harbour-flight;mains;12W;61,4\nunit-elm;harbour-flight;mains;20 W;80,1\n"
	d.failed(exitFailed, "setting_w", "import", d.file("wrong.csv", "device;workload;supply;seting_w;fps_mean\n"+rows))
	d.warned("near fps_mean", "import", d.file("wrong.csv", "device;workload;supply;setting_w;fps_maen\n"+rows))
	d.do("import", "--undo")
	old := d.file("old.csv", "device;workload;supply;setting_w;fps_mean (fps)\n"+rows)
	d.do("import", old)
	if again := d.do("import", old); !strings.HasPrefix(again, "0 runs added") {
		d.t.Errorf("the second import: %s", again)
	}
	d.slip("an edited export of which somebody corrected a row meanwhile")
	tidy.do("import", tidy.file("old.csv", "device,workload,supply,setting_w,fps_mean\nunit-elm,harbour-flight,mains,28,91.5\n"))
	d.do("import", d.file("old.csv", "device,workload,supply,setting_w,fps_mean\nunit-elm,harbour-flight,mains,28,915\n"))
	edited := d.file("edited.csv", strings.Replace(d.do("export", "--as", "csv", "--out", "-", "--device", "unit-elm"), ",915\n", ",91.5\n", 1))
	var list []run.Run
	if err := json.Unmarshal([]byte(d.do("run", "list", "--device", "unit-elm", "--setting", "28W", "--json")), &list); err != nil || len(list) != 1 {
		d.t.Fatal(list, err)
	}
	d.do("run", "result", list[0].ID, "fps_mean=9.15")
	d.failed(exitFailed, "--force", "import", edited)
	d.do("import", edited, "--force")

	d.slip("data of another machine that has this one's name")
	tidy.do("merge", otherMachine(d.t, "unit-fir"))
	other := otherMachine(d.t, "unit-oak")
	d.failed(exitFailed, "sweepd device rename unit-oak NEW", "merge", other)
	must(d.t, "device", "rename", "unit-oak", "unit-fir", "--data", other)
	d.do("merge", other)

	d.slip("what needs a look, last night and today, and the state of things: looked for where the data are not")
	for _, args := range [][]string{{"status"}, {"run", "doubts"}, {"run", "list", "--finding", "too_short"}, {"run", "list", "--last", "3"}, {"compare", "--a", "since=yesterday", "--b", "until=yesterday"}} {
		if args[0] == "compare" {
			d.failed(exitFailed, "until", args...)
		} else if out := d.do(args...); strings.TrimSpace(out) == "" {
			d.t.Errorf("sweepd %s says nothing", strings.Join(args, " "))
		}
	}
}

// otherMachine is the data folder of a machine that is none of this day's, but has a name.
func otherMachine(t *testing.T, device string) (dir string) {
	t.Helper()
	dir = t.TempDir()
	s, err := sqlite.Open(dir, sqlite.Options{})
	if err != nil {
		t.Fatal(err)
	}
	r := campaignRun(rand.New(rand.NewPCG(1, 1)), "00000001", device, run.Mains, 15, time.Date(2026, 5, 4, 9, 0, 0, 0, time.UTC))
	r.Facts = map[string]string{"device": device, "host_model": "fir 3", "cpu_model": "p4"}
	begun := r
	begun.State = run.Recording
	if err := errors.Join(s.BeginRun(t.Context(), begun), s.FinishRun(t.Context(), r), s.Close()); err != nil {
		t.Fatal(err)
	}
	return dir
}

// file makes a file of the person's.
func (d *clumsyDay) file(name, text string) (path string) {
	d.t.Helper()
	path = filepath.Join(d.t.TempDir(), name)
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		d.t.Fatal(err)
	}
	return path
}

// show is a run as it is kept.
func (d *clumsyDay) show(id string) (r run.Run) {
	d.t.Helper()
	if err := json.Unmarshal([]byte(d.do("run", "show", id, "--json")), &r); err != nil {
		d.t.Fatal(err)
	}
	return r
}

// last is the id of the run that was recorded last.
func (d *clumsyDay) last() string { return d.show("last").ID }

// found holds that a run has a finding, or that it has not.
func (d *clumsyDay) found(id string, code run.Code, want bool) {
	d.t.Helper()
	if r := d.show(id); r.HasFinding(code) != want {
		d.t.Errorf("%s of the run: %v, want %v\n%s", code, !want, want, describe(r))
	}
}

// compareWith holds the day against the tidy one.
func (d *clumsyDay) compareWith(tidy *clumsyDay) {
	d.t.Helper()
	if diff := cmp.Diff(tidy.counted(), d.counted()); diff != "" {
		d.t.Errorf("runs that count, -tidy +clumsy:\n%s", diff)
	}
	for _, args := range [][]string{{"compare", "--by", "supply"}, {"compare", "--by", "supply", "--metric", "fps_mean"}, {"curve"}} {
		if diff := cmp.Diff(tidy.answer(args...), d.answer(args...)); diff != "" {
			d.t.Errorf("%s, -tidy +clumsy:\n%s", strings.Join(args, " "), diff)
		}
	}
}

// counted are the runs that analyses count, without what differs from day to day.
func (d *clumsyDay) counted() (list []string) {
	d.t.Helper()
	var runs []run.Run
	if err := json.Unmarshal([]byte(d.do("run", "list", "--json")), &runs); err != nil {
		d.t.Fatal(err)
	}
	for _, r := range runs {
		if r.State != run.Finished || len(r.Results) == 0 {
			continue
		}
		text := fmt.Sprintf("%s %s at %s on %s, %s, %q:", r.Device, r.Workload, r.Setting, r.Supply, r.Variant, r.Note)
		for _, name := range slices.Sorted(maps.Keys(r.Results)) {
			text += fmt.Sprintf(" %s %v %s %s", name, r.Results[name].Value, r.Results[name].Unit, r.Results[name].Better)
		}
		list = append(list, text)
	}
	slices.Sort(list)
	return list
}

// answer is what an analysis says of results: numbers, verdicts, bands. Ids, measured
// watts, and what else differed on the day are left out.
func (d *clumsyDay) answer(args ...string) (answer any) {
	d.t.Helper()
	if err := json.Unmarshal([]byte(d.do(append(args, "--json")...)), &answer); err != nil {
		d.t.Fatal(err)
	}
	return comparable(answer)
}

var ofTheDay = []string{"run", "flagged", "confounders", "confounder_codes", "notes", "note_codes", "note_facts", "skipped", "package_w", "package_w_a", "package_w_b", "system_w", "per_package_w", "per_system_w",
	"efficiency", "efficiencies", "knee_w", "knee_told", "effective", "blocks"}

func comparable(v any) any {
	switch v := v.(type) {
	case map[string]any:
		maps.DeleteFunc(v, func(key string, _ any) bool { return slices.Contains(ofTheDay, key) })
		for key := range v {
			v[key] = comparable(v[key])
		}
	case []any:
		for i := range v {
			v[i] = comparable(v[i])
		}
	}
	return v
}
