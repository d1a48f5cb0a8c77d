package analysis

import (
	"slices"
	"testing"

	"sweepd/run"
)

// Watts of a meter on one side and of the battery on the other are told where watts of the
// whole device are compared, and only there.
func TestWattsSourcesDiffer(t *testing.T) {
	var runs []run.Run
	for _, supply := range []run.Supply{run.Mains, run.Battery} {
		for _, watts := range []float64{10, 15, 20, 25, 30} {
			for range 3 {
				r := run.Run{Results: map[string]run.Result{"fps": {Value: 40 + watts + 0.1*float64(len(runs)%3), Better: run.Higher}}, SystemW: new(5 + 1.2*watts + 0.05*float64(len(runs)%4))}
				r.Labels = run.Labels{Device: "unit-oak", Workload: "tile-sort", Supply: supply, Setting: run.Watts(watts).From(run.Declared)}
				if supply == run.Mains {
					r.SystemWSource = run.FromExternal
				}
				runs = append(runs, r)
			}
		}
	}
	told := func(req CompareRequest) bool {
		r, err := Compare(runs, req)
		if err != nil || len(r.Comparisons) != 1 {
			t.Fatalf("%+v: %v", r, err)
		}
		return slices.ContainsFunc(r.Comparisons[0].Confounders, func(n Note) bool {
			return n.Code == ConfounderWattsSources && n.A.Count+n.B.Count == 15 && n.A.Of == 15 && n.B.Of == 15
		})
	}
	if !told(CompareRequest{By: "supply", Metric: "fps", At: AtSystem}) || !told(CompareRequest{By: "supply", Metric: "fps", Per: AtSystem}) {
		t.Error("different sources of the whole device's watts are not told")
	}
	if told(CompareRequest{By: "supply", Metric: "fps"}) {
		t.Error("they are told where those watts are not compared")
	}
	c, err := Curve(runs, CurveRequest{Metric: "fps"})
	if err != nil {
		t.Fatal(err)
	}
	for _, g := range c.Groups {
		n := slices.IndexFunc(g.Notes, func(n Note) bool { return n.Code == NoteExternalWatts })
		if (n >= 0) != (g.Supply == string(run.Mains)) || n >= 0 && (g.Notes[n].Count != 15 || g.Notes[n].Of != 15) {
			t.Errorf("%s: %+v", g.Supply, g.Notes)
		}
	}
}
