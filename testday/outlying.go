package testday

import (
	"context"

	"sweepd/analysis"
	"sweepd/run"
	"sweepd/store"
)

// Outliers keeps which runs differ from their repeats.
type Outliers interface {
	store.AnalysisRuns
	store.Corrector
}

// MarkOutlying keeps the finding "outlying" in step with the runs of a device and
// workload: those of r, or of all where it has none.
func MarkOutlying(ctx context.Context, s Outliers, r run.Run) error {
	filter := store.Filter{Device: r.Device, Workload: r.Workload}
	runs, _, err := s.AnalysisRuns(ctx, filter)
	if err != nil {
		return err
	}
	texts := map[string]string{}
	for _, o := range analysis.Outlying(runs) {
		texts[o.ID] = o.String()
	}
	_, err = s.SetOutlying(ctx, filter, texts)
	return err
}
