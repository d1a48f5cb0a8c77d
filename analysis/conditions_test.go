package analysis

import (
	"fmt"
	"testing"

	"github.com/google/go-cmp/cmp"

	"sweepd/run"
)

// cellOf makes runs of one cell, each with its facts.
func cellOf(device string, facts ...map[string]string) (runs []run.Run) {
	for i, f := range facts {
		runs = append(runs, run.Run{ID: fmt.Sprintf("%s-%d", device, i), Facts: f,
			Labels: run.Labels{Device: device, Workload: "tile-sort", Supply: run.Mains, Setting: run.Watts(15).From(run.Declared)}})
	}
	return runs
}

func TestUnlikeConditions(t *testing.T) {
	const bright, room, kernel = "display_brightness_ratio", run.RoomTemperature, "kernel_version"
	one := func(key, value, usual string, alike, known int) []UnlikeCondition {
		return []UnlikeCondition{{key, value, usual, alike, known}}
	}
	is := func(key string, values ...string) (list []map[string]string) {
		for _, v := range values {
			if v == "" { // not told
				list = append(list, nil)
				continue
			}
			list = append(list, map[string]string{key: v})
		}
		return list
	}
	for name, c := range map[string]struct {
		facts []map[string]string
		want  []UnlikeRun
	}{
		"alone":                      {is(bright, "1"), nil},
		"alike":                      {is(bright, "1", "1", "0.98"), nil},
		"the first is the odd one":   {is(bright, "0.6", "1", "1"), []UnlikeRun{{"unit-oak-0", one(bright, "0.6", "1", 2, 2)}}},
		"of two the later":           {is(bright, "1", "0.6"), []UnlikeRun{{"unit-oak-1", one(bright, "0.6", "1", 1, 1)}}},
		"within a few percent":       {is(bright, "0.6", "0.62", "0.65"), nil},
		"what is not told":           {is(kernel, "6.1", "", "6.1"), nil},
		"not told by the only other": {is(kernel, "", "6.1"), nil},
		"a word":                     {is(kernel, "6.1", "6.1", "6.2", "6.1"), []UnlikeRun{{"unit-oak-2", one(kernel, "6.2", "6.1", 3, 3)}}},
		"three words":                {is(kernel, "6.3", "6.1", "6.2", "6.1"), []UnlikeRun{{"unit-oak-0", one(kernel, "6.3", "6.1", 2, 3)}, {"unit-oak-2", one(kernel, "6.2", "6.1", 2, 3)}}},
		"a room kept warm":           {is(room, "22", "23.5", "24"), nil},
		"a room that was not":        {is(room, "22", "22", "26.1"), []UnlikeRun{{"unit-oak-2", one(room, "26.1", "22", 2, 2)}}},
		"below zero":                 {is(room, "-1", "1", "-1"), nil},
		"what wears":                 {is("battery_full_wh", "48", "40"), nil},
		"the agent's version":        {is("agent_version", "1", "2"), nil},
		"a rating nearly the same":   {is("charger_watts", "65", "65.5"), nil},
		"another charger":            {is("charger_watts", "65", "45"), []UnlikeRun{{"unit-oak-1", one("charger_watts", "45", "65", 1, 1)}}},
	} {
		if diff := cmp.Diff(c.want, UnlikeConditions(cellOf("unit-oak", c.facts...))); diff != "" {
			t.Errorf("%s (-want +got):\n%s", name, diff)
		}
	}
}

// Other cells have their own conditions: on battery the display may be dim in all runs.
func TestUnlikeConditionsKeepToTheirCell(t *testing.T) {
	dim, full := map[string]string{"display_brightness_ratio": "0.6"}, map[string]string{"display_brightness_ratio": "1"}
	runs := append(cellOf("unit-oak", full, full), cellOf("unit-elm", dim, dim)...)
	for i := range cellOf("unit-fir", dim, dim) {
		r := cellOf("unit-oak", dim, dim)[i]
		r.ID += "-battery"
		r.Supply = run.Battery
		runs = append(runs, r)
	}
	if got := UnlikeConditions(runs); len(got) != 0 {
		t.Errorf("%+v", got)
	}
}
