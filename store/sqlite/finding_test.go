package sqlite

import (
	"testing"

	"sweepd/run"
)

func TestCorrectionReplacesFindings(t *testing.T) {
	s := openTest(t)
	d := finished("run-0001", 0)
	d.Findings = []run.Finding{{Code: run.HotStart, Severity: run.SeverityDoubt, Text: "62 C"}}
	imported(t, s, d)
	short := run.Finding{Code: run.FramesShort, Severity: run.SeverityDoubt, Text: "20 s of 60 s"}
	for _, c := range []struct {
		f    *run.Finding
		want string
	}{{&short, "hot_start 62 C; frames_short 20 s of 60 s; "}, {&run.Finding{Code: run.FramesShort, Severity: run.SeverityDoubt, Text: "30 s"}, "hot_start 62 C; frames_short 30 s; "}, {nil, "hot_start 62 C; "}} {
		r := correct(t, s, d.ID, run.Correction{Findings: map[run.Code]*run.Finding{run.FramesShort: c.f}})
		got := ""
		for _, f := range r.Findings {
			got += string(f.Code) + " " + f.Text + "; "
		}
		if got != c.want || r.State != run.Finished {
			t.Errorf("%q, %s, want %q", got, r.State, c.want)
		}
	}
}
