package exporter

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strconv"

	"go.uber.org/zap"

	"sweepd/agent"
	"sweepd/analysis"
	"sweepd/store"
)

// Effect is what the supply does to a result at one setting: battery over
// mains, with simultaneous bounds that are unknown where nothing tells the
// noise. The numbers are those of a comparison by supply.
type Effect struct {
	Device, Workload, Variant, Setting, Result string
	Ratio, Lower, Upper                        analysis.Number
	OnBattery, OnMains                         int // runs
	Verdict                                    analysis.Verdict
}

// String is the effect as a line for a log.
func (e Effect) String() string {
	text := fmt.Sprintf("%s of %s at %s on %s: battery against mains %+.1f %%", e.Result, e.Workload, e.Setting, e.Device, percent(e.Ratio))
	if e.Lower.Known() && e.Upper.Known() {
		text += fmt.Sprintf(" (%+.1f to %+.1f)", percent(e.Lower), percent(e.Upper))
	} else {
		text += " (bounds unknown: too few repeats)"
	}
	return text + fmt.Sprintf(", %d and %d runs", e.OnBattery, e.OnMains)
}

func percent(ratio analysis.Number) float64 { return 100 * (float64(ratio) - 1) }

// Runs gives the runs that the effects are computed from; *store.Store is one.
type Runs interface {
	AnalysisRuns(context.Context, store.Filter) ([]analysis.Run, store.Skipped, error)
}

// SupplyEffects compares battery with mains wherever both were measured, for
// every result.
func SupplyEffects(runs []analysis.Run) ([]Effect, error) {
	var effects []Effect
	for _, name := range resultNames(runs) {
		result, err := analysis.Compare(runs, analysis.CompareRequest{By: "supply", Metric: name})
		if errors.Is(err, analysis.ErrNoComparison) {
			continue
		}
		if err != nil {
			return nil, fmt.Errorf("compare %s by supply: %w", name, err)
		}
		for _, c := range result.Comparisons {
			effects = append(effects, effectsOf(c)...)
		}
	}
	return effects, nil
}

func resultNames(runs []analysis.Run) []string {
	var names []string
	for _, r := range runs {
		for name := range r.Results {
			if !slices.Contains(names, name) {
				names = append(names, name)
			}
		}
	}
	slices.Sort(names)
	return names
}

func effectsOf(c analysis.Comparison) []Effect {
	var list []Effect
	for _, s := range c.Settings {
		if !s.Diff.Known() {
			continue
		}
		list = append(list, Effect{
			Device: deref(c.Device), Workload: c.Workload, Variant: deref(c.Variant), Result: c.Metric, Setting: settingLabel(s),
			Ratio: 1 + s.Diff, Lower: 1 + s.Lower, Upper: 1 + s.Upper, OnBattery: s.NA, OnMains: s.NB, Verdict: s.Verdict,
		})
	}
	return list
}

func deref(s *string) string {
	if s == nil {
		return ""
	}
	return *s
}

func settingLabel(s analysis.SettingComparison) string {
	if s.SettingW.Known() {
		return strconv.FormatFloat(float64(s.SettingW), 'f', -1, 64) + "W"
	}
	return s.Setting
}

// ShowEffects exposes effects in place of earlier ones of the same cells.
func (m *Metrics) ShowEffects(effects []Effect) {
	for _, e := range effects {
		for bound, x := range map[string]analysis.Number{"estimate": e.Ratio, "lower": e.Lower, "upper": e.Upper} {
			values := []string{e.Device, e.Workload, e.Variant, e.Setting, e.Result, bound}
			if x.Known() {
				m.effects.WithLabelValues(values...).Set(float64(x))
			} else {
				m.effects.DeleteLabelValues(values...)
			}
		}
	}
}

// CompareSupplies computes the effects of the supply for the cells of a run
// that ended, exposes them and says in the log what holds at the run's setting.
// An empty run means all cells, without a word.
func (m *Metrics) CompareSupplies(ctx context.Context, runs Runs, d agent.Run, log *zap.Logger) error {
	filter := store.Filter{Device: d.Device, Workload: d.Workload}
	list, _, err := runs.AnalysisRuns(ctx, filter)
	if err != nil {
		return fmt.Errorf("read the runs to compare by supply: %w", err)
	}
	effects, err := SupplyEffects(list)
	if err != nil {
		return err
	}
	m.ShowEffects(effects)
	for _, e := range effects {
		if e.Setting == d.Setting.String() && e.Variant == agent.VariantText(d.Variant) && d.ID != "" {
			log.Info(e.String(), zap.String("verdict", string(e.Verdict)))
		}
	}
	return nil
}
