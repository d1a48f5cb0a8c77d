package main

import (
	"bytes"
	"fmt"
	"os"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"sweepd/run"
	"sweepd/testday"
)

// A run is named by any part of the short id that lists show, in either case; a part that
// several have lists them.
func TestRunsAreNamedByParts(t *testing.T) {
	campaign(t, alone(t))
	runs := asked[[]run.Run](t, "run list")
	for _, r := range runs[:5] {
		short := run.ShortID(r.ID)
		for _, part := range []string{short, strings.ToUpper(short), short[1:7], r.ID} {
			fits := 0
			for _, other := range runs {
				if run.NamedBy(other.ID, part) {
					fits++
				}
			}
			o := sweepd(t, "run", "show", part)
			if fits == 1 && (o.code != exitOK || !strings.Contains(o.out, r.ID)) || fits > 1 && (o.code != exitFailed || !strings.Contains(o.stderr, "fits several runs: ")) {
				t.Errorf("%s, which %d runs have: %+v", part, fits, o)
			}
		}
	}
	o := sweepd(t, "run", "show", run.ShortID(runs[0].ID)[7:])
	if o.code != exitFailed || !strings.Contains(o.stderr, "give more letters") || !strings.Contains(o.stderr, " ("+runs[0].Workload) && !strings.Contains(o.stderr, " ("+runs[len(runs)-1].Workload) {
		t.Errorf("one letter that many have: %+v", o)
	}
	for _, wrong := range []string{"zzzz", "no-such-run", ""} {
		if o := sweepd(t, "run", "show", wrong); o.code == exitOK || !strings.Contains(o.stderr, "no such run") {
			t.Errorf("%q: %+v", wrong, o)
		}
	}
}

// livesIn has the person live in a zone.
func livesIn(t *testing.T, zone *time.Location) {
	before := time.Local
	time.Local = zone
	t.Cleanup(func() { time.Local = before })
}

// isToday tells whether a time is of the day that it is now: midnight may pass in the middle
// of a test.
func isToday(at time.Time) bool {
	return at.Local().Format("2006-01-02") == time.Now().Format("2006-01-02")
}

// Lists show times of today as times and others with their day, where the person is, and
// no row is hundreds of characters long; --json has all.
func TestRunListRows(t *testing.T) {
	alone(t)
	livesIn(t, time.FixedZone("", 2*3600)) // where summer time does not come and go
	now := time.Now()
	names, values := "", ""
	for i := range 30 {
		names += fmt.Sprintf(",a_result_with_a_long_name_%d", i)
		values += fmt.Sprintf(",%d.25", i)
	}
	long := strings.Repeat("harbour-flight ", 12) + "end"
	table := "device,workload,supply,setting_w,started_at,duration_s,score" + names + "\n" +
		"unit-oak,tile-sort,mains,15,2026-05-06T09:00:00Z,47,46" + strings.Repeat(",", 30) + "\n" +
		"unit-elm," + long + ",battery,15," + now.UTC().Format(time.RFC3339) + ",47,46" + values + "\n"
	must(t, "import", writeFile(t, "two.csv", table))
	for _, columns := range []string{"", "80", "200"} {
		t.Setenv("COLUMNS", columns)
		out := must(t, "run", "list")
		for line := range strings.Lines(out) {
			if n := utf8.RuneCountInString(strings.TrimRight(line, "\n")); n > widestRow {
				t.Errorf("a line of %d: %s", n, line)
			}
		}
		for _, want := range []string{"2026-05-06 " + time.Date(2026, 5, 6, 9, 0, 0, 0, time.UTC).Local().Format("15:04"), "score 46", "30 more"} {
			if !strings.Contains(out, want) {
				t.Errorf("it lacks %q:\n%s", want, out)
			}
		}
		if today := now.Local().Format("2006-01-02"); !strings.Contains(out, now.Local().Format("15:04")) || strings.Contains(out, today) && isToday(now) {
			t.Errorf("of today it shows the day:\n%s", out)
		}
	}
	if runs := asked[[]run.Run](t, "run list"); len(runs) != 2 || len(runs[1].Results) != 31 || runs[1].Workload != long {
		t.Errorf("JSON lacks some: %+v", runs)
	}
	must(t, "plan", "new", "--device", "unit-oak", "--workload", "tile-sort", "--settings", "8-12/4")
	made := time.Now()
	if out := must(t, "plan", "list"); strings.Contains(out, made.Format("2006-01-02")) && isToday(made) || !strings.Contains(out, made.Format(" 15:")) && !strings.Contains(out, now.Format(" 15:")) {
		t.Errorf("plan list: %s", out)
	}
	for args, want := range map[string]string{
		"run list --last 0":        "want a whole number from 1",
		"run list --last 1":        "",
		"run list --last -2":       "want a whole number from 1",
		"run list --last two":      "want a whole number",
		"run list --since someday": "want a day",
		"run list --setting 15kW":  "watts above 0",
		"run list --supply mian":   "mains",
	} {
		o := sweepd(t, strings.Fields(args)...)
		if want == "" && o.code != exitOK || want != "" && (o.code != exitUsage || !strings.Contains(o.stderr, want)) {
			t.Errorf("%s: %+v", args, o)
		}
	}
	if n := len(asked[[]run.Run](t, "run list --last 1")); n != 1 {
		t.Errorf("the last one is %d", n)
	}
}

// The screen also says what the agent cannot do: ask for the setting, store runs.
func TestStatusSaysWhatFails(t *testing.T) {
	alone(t)
	var out bytes.Buffer
	a := &app{out: &out, err: &out, getenv: os.Getenv}
	o := testday.Overview{Data: "/data", DataFrom: "default", Agent: &testday.Status{Device: "unit-oak", SettingCommandFailure: "setting command ask: exit status 1",
		Unstored: []run.Run{{ID: "019a0000-0000-7000-8000-00000000abcd", Labels: run.Labels{Device: "unit-oak", Workload: "tile-sort", Setting: run.Watts(15).From(run.Declared)}}}}}
	if err := a.printOverview(o); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"setting_command tells nothing: setting command ask: exit status 1", "not stored yet: run 0000abcd, unit-oak, tile-sort, 15W, which ended; `sweepd run stop 0000abcd` tries again", "no setting is known"} {
		if !strings.Contains(words(out.String()), want) {
			t.Errorf("it lacks %q:\n%s", want, out.String())
		}
	}
}

// Runs without a setting are compared with each other, and named as what they are.
func TestRunsWithoutASetting(t *testing.T) {
	alone(t)
	must(t, "import", writeFile(t, "none.csv", `device,workload,supply,setting_w,started_at,duration_s,score
unit-oak,tile-sort,mains,,2026-05-06T09:00:00Z,47,46
unit-oak,tile-sort,battery,,2026-05-06T09:10:00Z,47,40
unit-oak,tile-sort,mains,,2026-05-06T09:20:00Z,47,47
unit-oak,tile-sort,battery,,2026-05-06T09:30:00Z,47,41
`))
	if out := words(must(t, "compare", "--by", "supply")); !strings.Contains(out, "unknown 2/2 40.5 46.5") || !strings.Contains(out, "At an unknown setting ") {
		t.Errorf("compare: %s", out)
	}
	if out := words(must(t, "curve")); !strings.Contains(out, "unknown 2 40.5") {
		t.Errorf("curve: %s", out)
	}
	must(t, "plan", "new", "--device", "unit-oak", "--workload", "tile-sort", "--settings", "8-12/4")
	if out := words(must(t, "plan", "status")); !strings.Contains(out, "0 done, 12 left") {
		t.Errorf("they count for no cell of a plan: %s", out)
	}
}
