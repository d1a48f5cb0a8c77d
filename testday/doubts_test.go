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
