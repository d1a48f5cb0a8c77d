package contract

import (
	"slices"
	"testing"

	"sweepd/run"
	"sweepd/store"
)

func wordsSeen(t *testing.T, s store.Store) {
	if w, err := s.Words(t.Context()); err != nil || len(w.Devices)+len(w.Workloads)+len(w.Settings)+len(w.Variants)+len(w.Results) != 0 {
		t.Errorf("nothing was seen: %+v, %v", w, err)
	}
	ms, plain := finished("run-0001", 1), finished("run-0002", 2)
	ms.Device, ms.Workload, ms.Variant, ms.Setting.Setting = "unit-elm", "harbour-flight", "fan=quiet", run.Named("cool")
	ms.Results = map[string]run.Result{"score": {Value: 1, Unit: "ms", Better: run.Lower}}
	plain.Variant, plain.Setting.Setting = "", run.Watts(15)
	imported(t, s, ms, plain, finished("run-0003", 3))
	_, err := s.NewPlan(t.Context(), testPlan(t))
	must(t, err)
	w, err := s.Words(t.Context())
	must(t, err)
	for what, seen := range map[string]bool{
		"device unit-elm":    slices.Contains(w.Devices, "unit-elm"),
		"devices once":       len(slices.Compact(slices.Sorted(slices.Values(w.Devices)))) == len(w.Devices),
		"workload":           slices.Contains(w.Workloads, "harbour-flight"),
		"planned workload":   slices.Contains(w.Workloads, "tile-sort"),
		"setting":            slices.Contains(w.Settings, "cool"),
		"planned setting":    slices.Contains(w.Settings, "quiet"),
		"no watts":           !slices.ContainsFunc(w.Settings, func(s string) bool { return s == "" || s == "15W" }),
		"variant":            slices.Contains(w.Variants, run.Variant("fan=quiet")),
		"planned variant":    slices.Contains(w.Variants, run.Variant("cores=12,fan=quiet")),
		"no variant":         !slices.Contains(w.Variants, ""),
		"units by their use": slices.Equal(w.Results, []store.ResultWord{{Name: "score", Unit: "points", Runs: 2}, {Name: "score", Unit: "ms", Runs: 1}}),
	} {
		if !seen {
			t.Errorf("%s: %+v", what, w)
		}
	}
}
