package sqlite

import (
	"testing"

	"sweepd/run"
	"sweepd/store"
)

func TestSetOutlying(t *testing.T) {
	ctx := t.Context()
	s := openTest(t)
	fill(t, s, "unit-oak", 3)
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
		changed, err := s.SetOutlying(ctx, store.Filter{Device: "unit-oak"}, texts)
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
	set(true, nil)
	if got := codes("unit-oak-run-002"); len(got) != before {
		t.Errorf("findings that no longer hold stay: %v", got)
	}
}
