package contract

import (
	"errors"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"sweepd/run"
	"sweepd/store"
)

func corrections(t *testing.T, s store.Store) {
	ctx := t.Context()
	d := finished("run-0001", 0)
	d.Results = map[string]run.Result{}
	d.Findings = []run.Finding{{Code: run.HotStart, Severity: run.SeverityDoubt, Text: "hot"}, {Code: run.ResultMissing, Severity: run.SeverityDoubt, Text: "none"}}
	imported(t, s, d)

	first := run.Result{Value: 60, Unit: "fps", Better: run.Higher}
	second := run.Result{Value: 16.6, Unit: "ms", Better: run.Lower}
	correct(t, s, d.ID, oneResult("fps", first, noon))
	correct(t, s, d.ID, oneResult("fps", first, noon.Add(time.Minute))) // no change, no history
	returned := correct(t, s, d.ID, oneResult("fps", second, noon.Add(time.Hour)))
	got, err := s.Run(ctx, d.ID)
	must(t, err)
	if diff := cmp.Diff(got, returned); diff != "" {
		t.Errorf("what Correct returned (-read +returned):\n%s", diff)
	}
	if diff := cmp.Diff(map[string]run.Result{"fps": second}, got.Results); diff != "" {
		t.Error(diff)
	}
	if len(got.Findings) != 1 || got.Findings[0].Code != run.HotStart {
		t.Errorf("findings are %v, want the one about heat", got.Findings)
	}
	history, err := s.History(ctx, d.ID)
	must(t, err)
	want := []store.OldResult{{Name: "fps", Result: first, SetAt: run.Stamp(noon), ReplacedAt: run.Stamp(noon.Add(time.Hour))}}
	if diff := cmp.Diff(want, history.Results); diff != "" {
		t.Error(diff)
	}
	for what, r := range map[string]run.Result{"no direction": {Value: 1}, "NaN": {Value: nan(), Better: run.Higher}} {
		if _, err := s.Correct(ctx, d.ID, oneResult("fps", r, noon)); err == nil {
			t.Errorf("a result with %s was taken", what)
		}
	}
	if _, err := s.Correct(ctx, "run-9999", oneResult("fps", first, noon)); !errors.Is(err, run.ErrNoRun) {
		t.Errorf("result of an unknown run: %v", err)
	}
}

// A result keeps the direction that it had where the correction leaves it open.
func keepsDirections(t *testing.T, s store.Store) {
	imported(t, s, finished("run-0001", 0))
	open := func(v float64) run.NewResult {
		return run.NewResult{Result: run.Result{Value: v, Better: run.Higher}, KeepBetter: true}
	}
	correct(t, s, "run-0001", oneResult("load", run.Result{Value: 3, Better: run.Lower}, noon))
	r := correct(t, s, "run-0001", run.Correction{Results: map[string]run.NewResult{"load": open(4), "new": open(5)}, At: noon})
	if r.Results["load"].Better != run.Lower || r.Results["load"].Value != 4 || r.Results["new"].Better != run.Higher {
		t.Errorf("results %v", r.Results)
	}
	r = correct(t, s, "run-0001", oneResult("load", run.Result{Value: 4, Better: run.Higher}, noon))
	if r.Results["load"].Better != run.Higher {
		t.Errorf("a direction that was said: %v", r.Results)
	}
}

// Whatever part of a correction fails, nothing of it is kept.
func correctsAllOrNothing(t *testing.T, s store.Store) {
	ctx := t.Context()
	imported(t, s, finished("run-0001", 0))
	must(t, s.BeginRun(ctx, newRun("run-now")))
	for what, c := range map[string]struct {
		id     string
		change func(*run.Correction)
		want   error
	}{
		"reject while recording":   {"run-now", func(c *run.Correction) { c.Decision, c.Why = run.Reject, "too warm" }, store.ErrStillRecording},
		"keep what nobody rejects": {"run-0001", func(c *run.Correction) { c.Decision, c.Why = run.Keep, "all well" }, store.ErrNotRejected},
		"no reason":                {"run-0001", func(c *run.Correction) { c.Decision = run.Reject }, nil},
		"no such decision":         {"run-0001", func(c *run.Correction) { c.Decision, c.Why = "drop", "too warm" }, nil},
		"a result of no direction": {"run-0001", func(c *run.Correction) { c.Results["z"] = run.NewResult{Result: run.Result{Value: 1}} }, nil},
		"a finding of no severity": {"run-0001", func(c *run.Correction) { c.Findings[run.HotStart] = &run.Finding{Code: run.HotStart} }, nil},
	} {
		before, err := s.Run(ctx, c.id)
		must(t, err)
		change := run.Correction{At: noon, Results: map[string]run.NewResult{"fps": {Result: run.Result{Value: 60, Better: run.Higher}}, "score": {Result: run.Result{Value: 7, Better: run.Lower}}},
			Findings: map[run.Code]*run.Finding{run.FramesShort: {Code: run.FramesShort, Severity: run.SeverityDoubt, Text: "20 s of 60 s"}}}
		c.change(&change)
		if _, err := s.Correct(ctx, c.id, change); err == nil || c.want != nil && !errors.Is(err, c.want) {
			t.Errorf("%s: %v, want %v", what, err, c.want)
		}
		after, err := s.Run(ctx, c.id)
		must(t, err)
		if diff := cmp.Diff(before, after); diff != "" {
			t.Errorf("%s (-before +after):\n%s", what, diff)
		}
		if h, err := s.History(ctx, c.id); err != nil || len(h.Results)+len(h.Decisions) > 0 {
			t.Errorf("%s: history %+v, %v", what, h, err)
		}
	}
}

func rejectsAndKeeps(t *testing.T, s store.Store) {
	ctx := t.Context()
	broken := finished("run-broken", 1)
	broken.State = run.Interrupted
	byFinding := finished("run-slept", 2)
	byFinding.State, byFinding.Why = run.Rejected, "suspended: slept"
	imported(t, s, finished("run-good", 0), broken, byFinding)
	must(t, s.BeginRun(ctx, newRun("run-now")))

	state := func(id string, want run.State, why string) {
		t.Helper()
		d, err := s.Run(ctx, id)
		must(t, err)
		if d.State != want || d.Why != why {
			t.Errorf("%s is %s (%q), want %s (%q)", id, d.State, d.Why, want, why)
		}
	}
	for id, before := range map[string]run.State{"run-good": run.Finished, "run-broken": run.Interrupted} {
		correct(t, s, id, reject("door open"))
		correct(t, s, id, reject("fan blocked"))
		state(id, run.Rejected, "fan blocked")
		correct(t, s, id, keep("it was not"))
		state(id, before, "")
	}
	if _, err := s.Correct(ctx, "run-good", keep("again")); !errors.Is(err, store.ErrNotRejected) {
		t.Errorf("keeping run-good again: %v", err)
	}
	correct(t, s, "run-slept", keep("before the start"))
	state("run-slept", run.Finished, "")
	correct(t, s, "run-slept", unkeep())
	state("run-slept", run.Rejected, "suspended: slept")
	correct(t, s, "run-slept", keep("after all"))
	state("run-slept", run.Finished, "")
	if _, err := s.Correct(ctx, "run-now", reject("no")); !errors.Is(err, store.ErrStillRecording) {
		t.Errorf("rejecting while recording: %v", err)
	}
	if _, err := s.Correct(ctx, "run-good", reject(" ")); err == nil {
		t.Error("rejected without a reason")
	}
	history, err := s.History(ctx, "run-good")
	must(t, err)
	want := []store.Decided{
		{At: run.Stamp(noon), What: run.Reject, Who: "user", Why: "door open"},
		{At: run.Stamp(noon), What: run.Reject, Who: "user", Why: "fan blocked"},
		{At: run.Stamp(noon), What: run.Keep, Who: "user", Why: "it was not"},
	}
	if diff := cmp.Diff(want, history.Decisions); diff != "" {
		t.Error(diff)
	}
}

// keepsInterrupted counts an interrupted run from the moment that its user says so to the
// moment that he takes it back.
func keepsInterrupted(t *testing.T, s store.Store) {
	broken, empty := finished("run-broken", 1), finished("run-empty", 2)
	broken.State, empty.State, empty.DurationS = run.Interrupted, run.Interrupted, new(0.0)
	imported(t, s, broken, empty)
	is := func(d run.Record, state run.State, why string) {
		t.Helper()
		kept := d.HasFinding(run.KeptInterrupted)
		if d.State != state || d.Why != why || kept != (state == run.Finished) && state != run.Rejected {
			t.Errorf("%s is %s (%q), findings %+v, want %s (%q)", d.ID, d.State, d.Why, d.Findings, state, why)
		}
		runs, _, err := s.AnalysisRuns(t.Context(), store.Filter{})
		must(t, err)
		if counted := len(runs) == 1; counted != (state == run.Finished) {
			t.Errorf("%s, and %d runs are counted", state, len(runs))
		}
	}
	d := correct(t, s, "run-broken", keep("the workload had ended"))
	is(d, run.Finished, "the workload had ended")
	if f := d.Findings[len(d.Findings)-1]; f.Severity != run.SeverityNote || !strings.Contains(f.Text, "60.0 s after its start: the workload had ended") {
		t.Errorf("finding %+v", f)
	}
	is(correct(t, s, "run-broken", oneResult("fps", run.Result{Value: 60, Better: run.Higher}, noon)), run.Finished, "the workload had ended")
	is(correct(t, s, "run-broken", reject("it was too warm")), run.Rejected, "it was too warm")
	is(correct(t, s, "run-broken", keep("it was not")), run.Finished, "the workload had ended")
	is(correct(t, s, "run-broken", unkeep()), run.Rejected, "it was too warm")
	is(correct(t, s, "run-broken", keep("it was not")), run.Finished, "the workload had ended")
	is(correct(t, s, "run-broken", unkeep()), run.Rejected, "it was too warm")
	if _, err := s.Correct(t.Context(), "run-broken", unkeep()); !errors.Is(err, store.ErrNotKept) {
		t.Errorf("undoing a keeping that a rejection followed: %v", err)
	}
	other := finished("run-other", 3)
	other.State = run.Interrupted
	imported(t, s, other)
	is(correct(t, s, "run-other", keep("good")), run.Finished, "good")
	if _, err := s.Correct(t.Context(), "run-other", keep("again")); !errors.Is(err, store.ErrNotRejected) {
		t.Errorf("keeping it again: %v", err)
	}
	is(correct(t, s, "run-other", unkeep()), run.Interrupted, "")
	h, err := s.History(t.Context(), "run-other")
	must(t, err)
	want := []store.Decided{{At: run.Stamp(noon), What: run.Keep, Who: "user", Why: "good"}, {At: run.Stamp(noon), What: run.Unkeep, Who: "user"}}
	if diff := cmp.Diff(want, h.Decisions); diff != "" {
		t.Error(diff)
	}

	if _, err := s.Correct(t.Context(), "run-empty", keep("it was good")); !errors.Is(err, run.ErrNoSweep) {
		t.Errorf("keeping a run of which nothing is known: %v", err)
	}
	if _, err := s.Correct(t.Context(), "run-empty", unkeep()); !errors.Is(err, store.ErrNotKept) {
		t.Errorf("undoing what never was: %v", err)
	}
}

func replacesFindings(t *testing.T, s store.Store) {
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

func marksOutlying(t *testing.T, s store.Store) {
	ctx := t.Context()
	imported(t, s, finished("unit-oak-run-001", 1), finished("unit-oak-run-002", 2))
	codes := func(id string) (list []run.Code) {
		d, err := s.Run(ctx, id)
		must(t, err)
		for _, f := range d.Findings {
			list = append(list, f.Code)
		}
		return list
	}
	before := len(codes("unit-oak-run-001"))
	set := func(want bool, texts map[string]string) {
		t.Helper()
		changed, err := s.SetUnlike(ctx, store.Filter{Device: "unit-oak"}, store.Outlying, texts)
		must(t, err)
		if changed != want {
			t.Errorf("changed is %v for %v", changed, texts)
		}
	}
	set(true, map[string]string{"unit-oak-run-001": "score is odd"})
	set(false, map[string]string{"unit-oak-run-001": "score is odd"})
	if got := codes("unit-oak-run-001"); len(got) != before+1 || got[before] != run.Outlying {
		t.Errorf("findings %v", got)
	}
	set(true, map[string]string{"unit-oak-run-002": "score is odd"})
	if got := codes("unit-oak-run-001"); len(got) != before {
		t.Errorf("findings that no longer hold stay: %v", got)
	}
	// The kinds are apart from each other.
	changed, err := s.SetUnlike(ctx, store.Filter{}, store.ConditionsDiffer, map[string]string{"unit-oak-run-002": "the display was dim"})
	must(t, err)
	d, err := s.Run(ctx, "unit-oak-run-002")
	must(t, err)
	if f := d.Findings[len(d.Findings)-1]; !changed || f.Code != run.ConditionsDiffer || f.Severity != run.SeverityDoubt || f.Text != "the display was dim" || !d.HasFinding(run.Outlying) {
		t.Errorf("changed %v, findings %+v", changed, d.Findings)
	}
	set(true, nil)
	_, err = s.SetUnlike(ctx, store.Filter{}, store.ConditionsDiffer, nil)
	must(t, err)
	if got := codes("unit-oak-run-002"); len(got) != before {
		t.Errorf("findings that no longer hold stay: %v", got)
	}
}
