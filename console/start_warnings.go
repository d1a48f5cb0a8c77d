package console

import (
	"fmt"
	"math"

	"sweepd/agent"
)

// contradictionWatts and contradictionShare are how far a declared and a read
// limit may lie apart, as the agent's finding setting_disagrees has them by
// default.
const (
	contradictionWatts = 0.5
	contradictionShare = 0.02
)

// StartWarnings are the sentences that somebody who has just started a run
// should read: what the agent doubts already, and a contradicted setting.
func StartWarnings(r agent.Run) []string {
	var warnings []string
	for _, f := range r.Findings {
		if f.Severity != agent.SeverityNote {
			warnings = append(warnings, f.Text)
		}
	}
	if text := contradiction(r); text != "" {
		warnings = append(warnings, text)
	}
	return warnings
}

// contradiction warns at a run's start of a declared setting that the system
// contradicts; empty where it does not, or where the two cannot be compared. The
// finding at the run's end has the last word.
func contradiction(r agent.Run) string {
	if r.Setting.Source != agent.Declared || r.SettingRead == nil {
		return ""
	}
	declared, read := r.Setting.Watts, r.SettingRead.Watts
	if declared == nil || read == nil || math.Abs(*declared-*read) <= max(contradictionWatts, contradictionShare**declared) {
		return ""
	}
	return fmt.Sprintf("%s was declared, but the system reports %s (%s): set the device or the declaration right",
		r.Setting, r.SettingRead, r.SettingRead.Source)
}
