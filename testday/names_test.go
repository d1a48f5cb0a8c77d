package testday

import (
	"testing"

	"github.com/google/go-cmp/cmp"

	"sweepd/run"
	"sweepd/store"
)

var seenWords = store.Words{
	Devices: []string{"unit-elm", "unit-oak"}, Workloads: []string{"harbour-flight", "tile-sort-2"}, Settings: []string{"quiet"},
	Variants: []run.Variant{"cores=6", "cores=12,fan=quiet"},
	Results:  []store.ResultWord{{Name: "fps_mean", Unit: "fps", Runs: 9}, {Name: "load", Unit: "s", Runs: 5}, {Name: "score", Runs: 2}},
}

func TestNamesThatAreProbablySlips(t *testing.T) {
	for _, c := range []struct {
		n    Named
		want []NameDoubt
	}{
		{Named{Workloads: []string{"harbor-flight", "harbor-flight"}}, []NameDoubt{{What: "workload", Typed: "harbor-flight", Near: "harbour-flight"}}},
		{Named{Devices: []string{"Unit-Oak"}}, []NameDoubt{{What: "device", Typed: "Unit-Oak", Near: "unit-oak"}}},
		{Named{Settings: []string{"quite", "25W", "8-20/4", ""}}, []NameDoubt{{What: "setting", Typed: "quite", Near: "quiet"}}},
		{Named{Settings: []string{"performence"}}, []NameDoubt{{What: "setting", Typed: "performence", Near: "performance"}}},
		{Named{Variants: []run.Variant{"core=6,fan=qiuet"}}, []NameDoubt{{What: "variant key", Typed: "core", Near: "cores"}, {What: "variant value", Of: "fan", Typed: "qiuet", Near: "quiet"}}},
		{Named{Results: map[string]string{"fps_men": "fps"}}, []NameDoubt{{What: "result", Typed: "fps_men", Near: "fps_mean"}}},
		{Named{Results: map[string]string{"load": "ms"}}, []NameDoubt{{What: "unit", Of: "load", Typed: "ms", Near: "s", Factor: new(0.001)}}},
		{Named{Results: map[string]string{"fps_mean": "ms"}}, []NameDoubt{{What: "unit", Of: "fps_mean", Typed: "ms", Near: "fps"}}},
		// What was seen, what is near nothing, and what differs on purpose.
		{Named{Devices: []string{"unit-oak", "unit-ash", "bench"}, Workloads: []string{"tile-sort-3", "tile-sort-2", "render"}, Settings: []string{"cool", "balanced", "15W"},
			Variants: []run.Variant{"cores=8,fan=fast", "smt=off"}, Results: map[string]string{"fps_mean": "", "fps_median": "fps", "score": "points", "load": "s"}}, nil},
	} {
		if diff := cmp.Diff(append([]NameDoubt{}, c.want...), DoubtNames(seenWords, c.n)); diff != "" {
			t.Errorf("%+v (-want +got):\n%s", c.n, diff)
		}
	}
	if doubts := DoubtNames(store.Words{}, Named{Devices: []string{"unit-oak"}, Results: map[string]string{"fps": "fps"}}); len(doubts) != 0 {
		t.Errorf("where nothing was seen: %v", doubts)
	}
}

// What was seen is put in the place of what was typed.
func TestNamesPutRight(t *testing.T) {
	s := run.Start{Workload: "harbor-flight", Setting: run.Named("quite"), Variant: "core=6,fan=qiuet"}
	for _, d := range DoubtNames(seenWords, NamedInStart(s)) {
		s = d.InStart(s)
	}
	if s.Workload != "harbour-flight" || s.Setting != run.Named("quiet") || s.Variant != "cores=6,fan=quiet" {
		t.Errorf("%+v", s)
	}
	list := Results{"load": {Value: 4200, Unit: "ms"}, "fps_men": {Value: 60, Unit: "fps"}}
	for _, d := range DoubtNames(seenWords, NamedInResults(list)) {
		list = d.InResults(list)
	}
	if diff := cmp.Diff(Results{"load": {Value: 4.2, Unit: "s"}, "fps_mean": {Value: 60, Unit: "fps"}}, list); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
}

// A result that a run has got already was not seen before, if no other has it.
func TestNamesOfARunThatHasThem(t *testing.T) {
	words := without(store.Words{Results: []store.ResultWord{{Name: "fps_mean", Unit: "fps", Runs: 9}, {Name: "fps_men", Unit: "fps", Runs: 1}}},
		map[string]run.Result{"fps_men": {Unit: "fps"}})
	if doubts := DoubtNames(words, Named{Results: map[string]string{"fps_men": "fps"}}); len(doubts) != 1 || doubts[0].Near != "fps_mean" {
		t.Errorf("%+v", doubts)
	}
}
