package judge

import (
	"fmt"
	"math"
	"time"

	"sweepd/run"
)

// Moment is what is known of a device when a run starts, or could.
type Moment struct {
	Index  *SensorIndex
	Values []float64 // of the sweep
	Boot   time.Duration
	// Setting is the one that the run has, Read the one that the system reports.
	Setting, Read run.SourcedSetting
	Baseline      *Baseline
	Thresholds    Thresholds
}

// Readiness tells whether a run as wanted could start, and if not, why.
func (m *Moment) Readiness(w run.Want) run.Readiness {
	r := run.Readiness{}
	if _, c, above, ok := m.warmest(); ok {
		r.Celsius, r.AboveBaseline = orNil(c), orNil(above)
	}
	if w.Setting.Known() {
		m.Setting = w.Setting.From(run.Declared)
	}
	r.Reasons = append([]run.Finding{}, m.StartFindings()...)
	supply := m.Index.Supply(m.Values)
	if w.Supply != run.SupplyUnknown && supply != w.Supply {
		r.Reasons = append(r.Reasons, run.Finding{Code: run.SupplyChanged, Severity: run.SeverityDoubt,
			Text: fmt.Sprintf("the device is on %s, the run wants %s", orUnknown(supply), w.Supply), Advice: plugText(w.Supply)})
	}
	reserve := m.Thresholds.withDefaults().Reserve
	if c := m.Index.Charge(m.Values); supply == run.Battery && w.MinCharge > reserve && c < w.MinCharge {
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

// StartFindings are what a run that starts at this moment is doubted for.
func (m *Moment) StartFindings() []run.Finding {
	th := m.Thresholds.withDefaults()
	var found []run.Finding
	if name, c, above, ok := m.warmest(); ok && above > th.HotStart {
		found = append(found, run.Finding{Code: run.HotStart, Severity: run.SeverityDoubt, Text: fmt.Sprintf(
			"%s was at %.1f °C at the start, %.1f K above its idle baseline (allowed: %.0f)", temperatureName(name), c, above, th.HotStart)})
	}
	if busy := At(m.Values, m.Index.busy); busy > th.BusyStart {
		found = append(found, run.Finding{Code: run.BusyStart, Severity: run.SeverityDoubt, Text: fmt.Sprintf(
			"the processor was %.0f %% busy before the start (allowed: %.0f %%)", 100*busy, 100*th.BusyStart)})
	}
	if f, low := lowCharge(m.Index.Supply(m.Values), m.Index.Charge(m.Values), th, "at the start"); low {
		found = append(found, f)
	}
	now := settingCheck{index: m.Index, th: th, active: m.Setting, read: m.Read, profile: m.Index.profileName(m.Values)}
	if text := now.disagreement(); text != "" {
		found = append(found, run.Finding{Code: run.SettingDisagrees, Severity: run.SeverityDoubt, Text: text})
	}
	return found
}

func (m *Moment) warmest() (instance string, celsius, above float64, ok bool) {
	return m.Baseline.warmest(m.Index, m.Values, m.Boot)
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
