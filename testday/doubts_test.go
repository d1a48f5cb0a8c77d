package testday

import (
	"strings"
	"testing"

	"sweepd/run"
)

func TestDoubtsAreOrdered(t *testing.T) {
	watts := func(w float64) run.Setting { return run.Watts(w) }
	var runs []run.Run
	for _, s := range []run.Setting{watts(12), run.Named("quiet"), watts(6), watts(12)} {
		runs = append(runs, run.Run{Labels: run.Labels{Device: "unit-oak", Setting: s.From(run.Declared)},
			Findings: []run.Finding{{Code: run.HotStart, Severity: run.SeverityDoubt, Text: "hot at " + s.String()}, {Severity: run.SeverityNote}}})
	}
	list := Doubts(runs)
	if len(list) != 1 || list[0].Runs != 4 || strings.Join(list[0].Settings, " ") != "6W 12W quiet" || list[0].Example != "hot at "+list[0].ExampleSetting {
		t.Errorf("got %+v", *list[0])
	}
}

// A run whose agent died needs a look, though no finding says so.
func TestInterruptedRunsNeedALook(t *testing.T) {
	list := Doubts([]run.Run{{Labels: run.Labels{Device: "unit-oak", Setting: run.Watts(15).From(run.Declared)}, State: run.Interrupted}})
	if len(list) != 1 || list[0].Code != "interrupted" || !strings.Contains(list[0].Example, "sweepd run keep RUN --why TEXT") {
		t.Errorf("%+v", list)
	}
}

// What needs a look is named as a person knows it, and of runs that do not count nobody
// misses the result.
func TestDoubtsNameTheirRuns(t *testing.T) {
	missing := []run.Finding{{Code: run.ResultMissing, Severity: run.SeverityDoubt, Text: "no result was given"}}
	var runs []run.Run
	for i, x := range []struct {
		workload string
		watts    float64
		state    run.State
	}{{"harbour-flight", 15, run.Finished}, {"tile-sort", 20, run.Finished}, {"harbour-flight", 10, run.Finished}, {"tile-sort", 25, run.Rejected}} {
		runs = append(runs, run.Run{ID: string(rune('a' + i)), State: x.state, Findings: missing,
			Labels: run.Labels{Device: "unit-oak", Workload: x.workload, Setting: run.Watts(x.watts).From(run.Declared)}})
	}
	list := Doubts(runs)
	if len(list) != 1 || list[0].Runs != 3 || list[0].Where != "harbour-flight at 10 W and 15 W; tile-sort at 20 W" || list[0].ExampleWhere != "harbour-flight at 15 W" || strings.Join(list[0].RunIDs, "") != "abc" {
		t.Errorf("%+v", list[0])
	}
}
