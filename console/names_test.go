package console

import (
	"encoding/json"
	"slices"
	"strings"
	"testing"

	"sweepd/run"
	"sweepd/store/contract"
	"sweepd/testday"
)

// Whoever starts a run over HTTP is told which of its names are probably slips, and may
// ask before.
func TestStartWarnsOfNames(t *testing.T) {
	f := &fakeAgent{data: openStore(t)}
	before := run.Record{Run: run.Run{ID: "run-0001", Labels: run.Labels{Device: "unit-oak", Workload: "harbour-flight"}, State: run.Finished, Results: map[string]run.Result{}}}
	if _, _, err := f.data.Import(t.Context(), "day.csv", contract.Sequence(before), nil); err != nil {
		t.Fatal(err)
	}
	h := newTestHandler(f)
	w := ask(h, "POST", "/api/v1/runs/start", `{"workload":"harbor-flight"}`, nil)
	var started testday.StartWarned
	if err := json.Unmarshal(w.Body.Bytes(), &started); err != nil || w.Code != 200 || started.Workload != "harbor-flight" ||
		!slices.Equal(started.Warnings, []string{`workload "harbor-flight" was not seen before, near harbour-flight`}) {
		t.Errorf("%d %s, %v", w.Code, w.Body, err)
	}
	f.recording = nil
	if w := ask(h, "POST", "/api/v1/runs/start", `{"workload":"harbour-flight"}`, nil); !strings.Contains(w.Body.String(), `"warnings": []`) && !strings.Contains(w.Body.String(), `"warnings":[]`) {
		t.Errorf("%d %s", w.Code, w.Body)
	}
}
