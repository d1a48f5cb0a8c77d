package exporter

import (
	"context"
	"fmt"

	"github.com/prometheus/client_golang/prometheus"
	"go.uber.org/zap"

	"sweepd/analysis"
	"sweepd/run"
	"sweepd/store"
)

// CompareSupplies computes the effects of the supply for the device and the workload of
// a run that ended, was corrected or was rejected, and exposes them in place of the
// earlier ones. Those at the run's setting and variant are also logged. An empty run
// stands for all devices and workloads, and then nothing is logged.
//
// Where a result cannot be compared, which is a matter of what was given as results and
// is told by whoever compares, that is logged and the others are exposed all the same.
func (m *Metrics) CompareSupplies(ctx context.Context, runs store.AnalysisRuns, r run.Run, log *zap.Logger) error {
	// One at a time: the last to read what is stored is the last to show it.
	m.comparing.Lock()
	defer m.comparing.Unlock()
	list, _, err := runs.AnalysisRuns(ctx, store.Filter{Device: r.Device, Workload: r.Workload})
	if err != nil {
		return fmt.Errorf("read the runs to compare by supply: %w", err)
	}
	effects, uncompared := SupplyEffects(list)
	if uncompared != nil {
		log.Warn("not all results could be compared by supply", zap.Error(uncompared))
	}
	m.showEffects(r.Device, r.Workload, effects)
	for _, e := range effects {
		if r.ID != "" && e.Setting == r.Setting.String() && e.Variant == string(r.Variant) {
			log.Info(e.String(), e.fields()...)
		}
	}
	return nil
}

// showEffects exposes the effects of one device and workload, "" for all, in place of
// all that were exposed of them: a run that was rejected may leave its cell without any.
func (m *Metrics) showEffects(device, workload string, effects []Effect) {
	m.mu.Lock()
	defer m.mu.Unlock()
	scope := prometheus.Labels{}
	for name, value := range map[string]string{"device": device, "workload": workload} {
		if value != "" {
			scope[name] = run.Visible(value)
		}
	}
	m.families.effect.DeletePartialMatch(scope)
	for _, e := range effects {
		m.showEffect(e)
	}
}

func (m *Metrics) showEffect(e Effect) {
	for _, b := range []struct {
		name  string
		value analysis.Number
	}{{"estimate", e.Ratio}, {"lower", e.Lower}, {"upper", e.Upper}} {
		if b.value.Known() && (b.name == "estimate" || e.bounded()) {
			m.families.effect.WithLabelValues(run.Visible(e.Device), run.Visible(e.Workload), run.Visible(e.Variant), run.Visible(e.Setting), run.Visible(e.Result), b.name).Set(float64(b.value))
		}
	}
}
