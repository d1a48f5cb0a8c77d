package exporter

import (
	"cmp"
	"errors"
	"fmt"
	"maps"
	"slices"
	"strconv"

	"go.uber.org/zap"

	"sweepd/analysis"
	"sweepd/run"
)

// Effect is what the supply does to a result at one setting: the result on battery
// divided by that on mains, with simultaneous 95 % bounds. The bounds are unknown where
// too few repeats were run. The numbers are those of a comparison by supply.
type Effect struct {
	Device, Workload, Variant, Setting, Result string
	Ratio, Lower, Upper                        analysis.Number
	OnBattery, OnMains                         int // runs
	Verdict                                    analysis.Verdict
}

// bounded tells whether the bounds are known.
func (e Effect) bounded() bool { return e.Lower.Known() && e.Upper.Known() }

// String is the effect as a line for a log.
func (e Effect) String() string {
	text := fmt.Sprintf("%s of %s at %s on %s: battery against mains %+.1f %%", e.Result, e.Workload, cmp.Or(e.Setting, "an unknown setting"), e.Device, percent(e.Ratio))
	if e.bounded() {
		text += fmt.Sprintf(" (%+.1f to %+.1f)", percent(e.Lower), percent(e.Upper))
	} else {
		text += " (bounds unknown: too few repeats)"
	}
	return text + fmt.Sprintf(", %d and %d runs", e.OnBattery, e.OnMains)
}

func percent(ratio analysis.Number) float64 { return 100 * (float64(ratio) - 1) }

// fields are the effect for a log that programs read, its numbers unrounded.
func (e Effect) fields() []zap.Field {
	f := []zap.Field{
		zap.String("device", e.Device), zap.String("workload", e.Workload), zap.String("variant", e.Variant),
		zap.String("setting", e.Setting), zap.String("result", e.Result),
		zap.String("verdict", string(e.Verdict)), zap.Float64("ratio", float64(e.Ratio)),
	}
	if e.bounded() {
		f = append(f, zap.Float64("lower", float64(e.Lower)), zap.Float64("upper", float64(e.Upper)))
	}
	return f
}

// SupplyEffects compares battery with mains for every result, at every setting where
// both were measured. A result without such a setting is left out; one whose comparison
// fails is left out too, and the error joins the reasons.
func SupplyEffects(runs []run.Run) ([]Effect, error) {
	var effects []Effect
	var failed error
	for _, name := range resultNames(runs) {
		result, err := analysis.Compare(runs, analysis.CompareRequest{By: "supply", Metric: name})
		if errors.Is(err, analysis.ErrNoComparison) {
			continue
		}
		if err != nil {
			failed = errors.Join(failed, fmt.Errorf("compare %s by supply: %w", name, err))
			continue
		}
		for _, c := range result.Comparisons {
			effects = append(effects, effectsOf(c)...)
		}
	}
	return effects, failed
}

// resultNames are the results that some run has.
func resultNames(runs []run.Run) []string {
	names := map[string]bool{}
	for i := range runs {
		for name := range runs[i].Results {
			names[name] = true
		}
	}
	return slices.Sorted(maps.Keys(names))
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
