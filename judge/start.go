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
	Declared      run.Declaration // that is in force
	UsualLoad     float64         // see UsualLoad; NaN or 0 unknown
	Baseline      *Baseline
	Thresholds    Thresholds
}

// StartFindings are what a run that starts at this moment is doubted for.
func (m *Moment) StartFindings() []run.Finding {
	th := m.Thresholds.withDefaults()
	var found []run.Finding
	if name, c, above, ok := m.warmest(); ok && above > th.HotStart {
		found = append(found, run.Finding{Code: run.HotStart, Severity: run.SeverityDoubt, Text: fmt.Sprintf(
			"%s was at %.1f °C at the start, %.1f K above its idle baseline (allowed: %.0f)", temperatureName(name), c, above, th.HotStart)})
	}
	if busy, allowed := m.busy(); busy > allowed {
		found = append(found, run.Finding{Code: run.BusyStart, Severity: run.SeverityDoubt, Text: fmt.Sprintf(
			"the processor was %.0f %% busy before the start (%s)", 100*busy, m.allowedLoad())})
	}
	if f, low := lowCharge(m.Index.Supply(m.Values), m.Index.Charge(m.Values), th, "at the start"); low {
		found = append(found, f)
	}
	found = append(found, m.settingCheck().disagrees()...)
	return append(found, m.settingUnknown()...)
}

func (m *Moment) settingCheck() *settingCheck {
	return &settingCheck{index: m.Index, th: m.Thresholds.withDefaults(), active: m.Setting, read: m.Read, profile: m.Index.profileName(m.Values)}
}

// settingUnknown finds a run without any setting, and one whose setting was declared
// before the machine was started anew, where nothing tells whether the firmware kept it.
// The declaration stays in force all the same: the person's word is the best there is.
func (m *Moment) settingUnknown() []run.Finding {
	if !m.Setting.Known() {
		return settingUnknown(m.Setting)
	}
	if m.Setting.Source != run.Declared || !m.Declared.Restarted || m.settingCheck().comparable() {
		return nil
	}
	return []run.Finding{{Code: run.SettingUnknown, Severity: run.SeverityDoubt, Text: fmt.Sprintf(
		"%s was declared at %s, the machine was started anew since, and nothing tells whether it kept the setting", m.Setting, m.Declared.At)}}
}

const noSetting = "no setting was declared, and the system reports none"

// settingUnknown is the finding of a run that has no setting in the end.
func settingUnknown(s run.SourcedSetting) []run.Finding {
	if s.Known() {
		return nil
	}
	return []run.Finding{{Code: run.SettingUnknown, Severity: run.SeverityDoubt, Text: noSetting}}
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
