package main

import (
	"encoding/json"
	"strings"
	"testing"
)

// Where nobody can be asked, a name that is probably a slip is warned of, and the command
// goes on; with --new nothing is said.
func TestNamesAreWarnedOf(t *testing.T) {
	data := alone(t)
	must(t, "import", writeFile(t, "day.csv", "run,device,workload,setting_w,fps_mean\nr-0001,unit-oak,harbour-flight,15,60\nr-0002,unit-elm,tile-sort-2,15,61\n"))
	for _, c := range []struct {
		args, says string // "": nothing is said
	}{
		{"run result r-0001 fps_men=61fps", `warning: result "fps_men" was not seen before, near fps_mean; if it is meant, say --new; to put it right: `},
		{"run result r-0001 fps_mena=61fps --new", ""},
		{"run result r-0001 fps_median=61fps", ""},
		{"run result r-0001 score=61", ""},
		{"plan new --device unit-oak --workload harbor-flight --settings 15W", `warning: workload "harbor-flight" was not seen before, near harbour-flight; if it is meant, say --new`},
		{"plan new --device unit-oak --workload tile-sort-3 --settings 15W --replace", ""},
		{"plan new --device unit-ash --workload Harbour_Flight --settings 15W --new", ""},
	} {
		o := sweepd(t, strings.Fields(c.args)...)
		stderr := strings.Join(strings.Fields(o.stderr), " ")
		if o.code != exitOK || !strings.Contains(stderr, c.says) || c.says == "" && stderr != "" {
			t.Errorf("%s: exit %d, %q; want %q", c.args, o.code, stderr, c.says)
		}
	}
	table := writeFile(t, "more.csv", "device,workload,variant,fps_mean\nunit-oak,harbour-flight,fan=quiet,60\nunit-oak,harbor-fligt,fan=quite,60\nunit-oak,harbor-fligt,fan=quite,62\n")
	o := sweepd(t, "import", table, "--json")
	var x struct{ Warnings []string }
	if err := json.Unmarshal([]byte(o.out), &x); err != nil || len(x.Warnings) != 2 || !strings.HasPrefix(x.Warnings[0], `line 3: workload "harbor-fligt" was not seen before, near harb`) ||
		x.Warnings[1] != "line 3: variant fan=quite was not seen before, near fan=quiet" {
		t.Errorf("%+v, %v", o, err)
	}
	if o := sweepd(t, "import", table); o.code != exitOK || o.stderr != "" || !strings.Contains(o.out, "0 runs added") {
		t.Errorf("again: %+v", o)
	}
	if list := listedRuns(t, data); len(list) != 5 {
		t.Errorf("%d runs: a warning does not stop an import", len(list))
	}
}

// A selection that names what no run has says what was probably meant.
func TestSelectionsNameWhatIsNear(t *testing.T) {
	campaign(t, alone(t))
	for args, says := range map[string]string{
		"run list --workload harbor-flight":                    `no run has the workload "harbor-flight": did you mean harbour-flight?`,
		"run doubts --device unit-oka":                         `no run has the device "unit-oka": did you mean unit-oak?`,
		"run list --variant core=6":                            `no run has the variant key "core": did you mean cores?`,
		"curve --metric fps_men":                               `no run has the result "fps_men": did you mean fps_mean?`,
		"curve --workload harbor-flight":                       "did you mean harbour-flight?",
		"battery --device unit-oka --full-energy 48Wh":         "did you mean unit-oak?",
		"compare --by device --a unit-oka --b unit-elm":        `no run has the device "unit-oka": did you mean unit-oak?`,
		"compare --by device --a device=unit-oka --b unit-elm": "did you mean unit-oak?",
	} {
		if o := sweepd(t, strings.Fields(args)...); !strings.Contains(o.stderr, says) {
			t.Errorf("%s: exit %d, %q; want %q", args, o.code, o.stderr, says)
		}
	}
	for _, args := range []string{"run list --workload harbour-flight", "curve --metric fps_mean", "compare --by device"} {
		if o := sweepd(t, strings.Fields(args)...); strings.Contains(o.stderr, "did you mean") {
			t.Errorf("%s: %q", args, o.stderr)
		}
	}
}
