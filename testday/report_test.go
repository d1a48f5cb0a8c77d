package testday

import (
	"fmt"
	"strings"
	"testing"

	"sweepd/run"
)

// The runs whose findings weigh most are drawn, few of one kind.
func TestWorstRuns(t *testing.T) {
	with := func(id string, findings ...run.Finding) run.Run { return run.Run{ID: id, Findings: findings} }
	doubt := func(c run.Code) run.Finding { return run.Finding{Code: c, Severity: run.SeverityDoubt} }
	var all []run.Run
	for i := range 6 {
		all = append(all, with(fmt.Sprint("hot", i), doubt(run.HotStart)))
	}
	all = append(all, with("fine"), with("noted", run.Finding{Code: run.Throttled, Severity: run.SeverityNote}),
		with("two", doubt(run.TooShort), doubt(run.BusyStart)), with("rejected", run.Finding{Code: run.Suspended, Severity: run.SeverityReject}))
	if got, want := strings.Join(worstRuns(all), " "), "rejected two hot0 hot1 hot2"; got != want {
		t.Errorf("got %s, want %s", got, want)
	}
}
