package agent

import (
	"context"
	"fmt"
	"math"

	"sweepd/run"
)

// Ready looks at the device now. It takes an idle sweep, or none while a run is
// recording.
func (a *Agent) Ready(ctx context.Context, w run.Want) (r run.Readiness, err error) {
	if err := a.recall(ctx); err != nil {
		return r, err
	}
	if err := a.SweepIdle(ctx); err != nil {
		return r, err
	}
	err = a.do(ctx, func() error {
		if a.prev == nil {
			return fmt.Errorf("nothing was sampled yet: try again in a moment")
		}
		r = a.readiness(w, a.prev)
		return nil
	})
	return r, err
}

// readiness judges the present sweep. It runs on the sampling goroutine.
func (a *Agent) readiness(w run.Want, values []float64) run.Readiness {
	r := run.Readiness{Reasons: []run.Finding{}}
	if _, c, above, ok := a.baseline.warmest(&a.view, a.sensors, values, a.last.Boot); ok {
		r.Celsius, r.AboveBaseline = known(c), known(above)
	}
	setting := a.labels.Setting
	if w.Setting.Known() {
		setting = w.Setting.From(run.Declared)
	}
	r.Reasons = append(r.Reasons, a.startFindings(values, setting)...)
	supply := a.view.supply(values)
	if w.Supply != run.SupplyUnknown && supply != w.Supply {
		r.Reasons = append(r.Reasons, run.Finding{Code: run.SupplyChanged, Severity: run.SeverityDoubt,
			Text: fmt.Sprintf("the device is on %s, the run wants %s", orUnknown(supply), w.Supply), Advice: plugText(w.Supply)})
	}
	if c := a.view.charge(values); supply == run.Battery && w.MinCharge > a.opts.Thresholds.Reserve && c < w.MinCharge {
		r.Reasons = append(r.Reasons, run.Finding{Code: run.BatteryReserve, Severity: run.SeverityDoubt,
			Text: fmt.Sprintf("the battery is at %.0f %%, the run needs %.0f %%", 100*c, 100*w.MinCharge)})
	}
	run.Advise(r.Reasons)
	r.Fit = len(r.Reasons) == 0
	return r
}

func orUnknown(s run.Supply) string {
	if s == run.SupplyUnknown {
		return "an unknown supply"
	}
	return string(s)
}

func plugText(s run.Supply) string {
	if s == run.Mains {
		return "plug it in"
	}
	return "unplug it"
}

// startFindings are what a run that starts with this sweep at a setting is
// doubted for.
func (a *Agent) startFindings(values []float64, setting run.SourcedSetting) []run.Finding {
	th := a.opts.Thresholds
	var found []run.Finding
	if name, c, above, ok := a.baseline.warmest(&a.view, a.sensors, values, a.last.Boot); ok && above > th.HotStart {
		found = append(found, run.Finding{Code: run.HotStart, Severity: run.SeverityDoubt, Text: fmt.Sprintf(
			"%s was at %.1f °C at the start, %.1f K above its idle baseline (allowed: %.0f)", temperatureName(name), c, above, th.HotStart)})
	}
	if busy := at(values, a.view.busy); busy > th.BusyStart {
		found = append(found, run.Finding{Code: run.BusyStart, Severity: run.SeverityDoubt, Text: fmt.Sprintf(
			"the processor was %.0f %% busy before the start (allowed: %.0f %%)", 100*busy, 100*th.BusyStart)})
	}
	if f, low := lowCharge(a.view.supply(values), a.view.charge(values), th, "at the start"); low {
		found = append(found, f)
	}
	now := settingCheck{view: &a.view, th: th, active: setting, read: a.shared.read, profile: a.view.profileName(values)}
	if text := now.disagreement(); text != "" {
		found = append(found, run.Finding{Code: run.SettingDisagrees, Severity: run.SeverityDoubt, Text: text})
	}
	return found
}

func temperatureName(instance string) string {
	if instance == "" {
		return "the temperature"
	}
	return instance
}

// lowCharge is the finding of a run on battery near empty.
func lowCharge(s run.Supply, charge float64, th Thresholds, when string) (run.Finding, bool) {
	if s != run.Battery || math.IsNaN(charge) || charge >= th.Reserve {
		return run.Finding{}, false
	}
	return run.Finding{Code: run.BatteryReserve, Severity: run.SeverityDoubt, Text: fmt.Sprintf(
		"the battery was at %.0f %% %s (reserve: %.0f %%), where devices limit themselves", 100*charge, when, 100*th.Reserve)}, true
}

// learn takes an idle sweep into the baseline.
func (a *Agent) learn(sensors []run.Sensor, values []float64) {
	a.baseline.observe(&a.view, sensors, values, a.last.Boot)
}
