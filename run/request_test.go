package run

import (
	"math"
	"strings"
	"testing"
)

func TestCheckResult(t *testing.T) {
	good := Result{Value: 60, Unit: "fps", Better: Higher}
	changed := func(change func(*Result)) Result { r := good; change(&r); return r }
	for _, c := range []struct {
		name string
		r    Result
		want string
	}{
		{"fps_mean", good, ""},
		{"seconds", changed(func(r *Result) { r.Better = Lower }), ""},
		{"score", changed(func(r *Result) { r.Value, r.Unit = -1, "" }), ""},
		{"score", changed(func(r *Result) { r.Unit = strings.Repeat("m", 40) }), ""},
		{"score", changed(func(r *Result) { r.Unit = strings.Repeat("m", 41) }), "has 41 bytes: at most 40"},
		{"score", changed(func(r *Result) { r.Unit = "f\nps" }), `result score: unit "f\nps" holds control characters`},
		{"", good, "name of a result is empty"},
		{"a=b", good, "may not hold"},
		{"a,b", good, "may not hold"},
		{"score", changed(func(r *Result) { r.Value = math.NaN() }), "score=NaN is not a finite number"},
		{"score", changed(func(r *Result) { r.Value = math.Inf(1) }), "score=+Inf is not"},
		{"score", changed(func(r *Result) { r.Value = math.Inf(-1) }), "score=-Inf is not"},
		{"score", changed(func(r *Result) { r.Better = "" }), `score: better is "", want higher or lower`},
		{"score", changed(func(r *Result) { r.Better = "faster" }), `better is "faster"`},
	} {
		refused(t, c.name, CheckResult(c.name, c.r), c.want)
	}
}

const longNote = 4001

func TestCheckStart(t *testing.T) {
	for want, s := range map[string]Start{
		"":                              {Workload: "tile-sort", Setting: Watts(15), Variant: "cores=6,fan=quiet", Note: "again"},
		"workload is empty":             {Variant: "cores=6"},
		"value of variant fan is empty": {Workload: "tile-sort", Variant: "cores=6,fan="},
		"note has 4001 bytes":           {Workload: "tile-sort", Note: strings.Repeat("x", longNote)},
	} {
		refused(t, s.Workload, s.Check(), want)
	}
}

func TestCheckStop(t *testing.T) {
	good, bad := Result{Value: 60, Better: Higher}, Result{Value: math.NaN(), Better: Higher}
	for want, s := range map[string]Stop{
		"":                    {Results: map[string]Result{"fps_mean": good}, Note: "again"},
		"score=NaN":           {Results: map[string]Result{"fps_mean": good, "score": bad}},
		"note has 4001 bytes": {Note: strings.Repeat("x", longNote)},
		// The run's own note counts: 7 bytes and the line's end between the two.
		"note has 4005 bytes":    {Note: strings.Repeat("x", longNote-4)},
		"failure has 4001 bytes": {Failure: strings.Repeat("x", longNote)},
	} {
		r := Run{}
		if want == "note has 4005 bytes" {
			r.Note = "started"
		}
		refused(t, s.Note, s.Check(r), want)
	}
}

func TestApplyStop(t *testing.T) {
	r := Run{Note: "a", Results: map[string]Result{}, Findings: []Finding{{Code: HotStart}}}
	Stop{Note: "b", Results: map[string]Result{"fps": {Value: 60}}, Failure: "exit status 3"}.Apply(&r)
	if r.Note != "a\nb" || r.Results["fps"].Value != 60 || len(r.Findings) != 2 || r.Findings[1] != (Finding{Code: CommandFailed, Severity: SeverityDoubt, Text: "exit status 3"}) {
		t.Errorf("%+v", r)
	}
	Stop{}.Apply(&r)
	if r.Note != "a\nb" || len(r.Findings) != 2 {
		t.Errorf("a stop that says nothing: %+v", r)
	}
}

func TestCheckCorrection(t *testing.T) {
	good, bad := NewResult{Result: Result{Value: 60, Better: Higher}}, NewResult{Result: Result{Value: 60}}
	for _, c := range []struct {
		what string
		c    Correction
		want string
	}{
		{"nothing", Correction{}, ""},
		{"a result", Correction{Results: map[string]NewResult{"score": good}}, ""},
		{"a result without a direction", Correction{Results: map[string]NewResult{"score": bad}}, "want higher or lower"},
		{"rejected", Correction{Decision: Reject, Why: "the lid was closed"}, ""},
		{"kept", Correction{Decision: Keep, Why: "it was not"}, ""},
		{"rejected without a reason", Correction{Decision: Reject}, "reason is empty"},
		{"kept without a reason", Correction{Decision: Keep, Why: " "}, "reason is empty"},
		{"deleted", Correction{Decision: "delete", Why: "no"}, `decision "delete" is neither reject nor keep`},
	} {
		refused(t, c.what, c.c.Check(), c.want)
	}
}
