package agent

import (
	"time"

	"sweepd/run"
)

// relabelLocked puts the labels that follow from a sweep in force. a.mu is held.
func (a *Agent) relabelLocked(values []float64, now time.Duration) {
	next := a.labels
	next.Supply = a.index.Supply(values)
	next.Setting = a.activeSetting(values)
	if a.run != nil {
		next.Workload, next.Variant = a.run.record.Workload, a.run.record.Variant
	} else {
		next.Workload, next.Variant = "", ""
	}
	if a.shared.ledger.current != nil && a.shared.ledger.current.RunID == a.runID() && next == a.labels {
		return
	}
	a.labels = next
	a.shared.ledger.under(next, a.runID(), now)
}

// activeSetting is the setting of the most trusted source that says anything:
// declared, command, then what the sweep holds.
func (a *Agent) activeSetting(values []float64) run.SourcedSetting {
	a.shared.read, a.shared.declared = a.index.SettingRead(values), a.declared
	if a.declared.Setting.Known() {
		return a.declared.Setting.From(run.Declared)
	}
	if c := a.command.setting.Load(); c != nil && c.Known() {
		return *c
	}
	return a.shared.read
}

// tellOfLabels publishes an event for the setting and for the supply where they
// changed.
func (a *Agent) tellOfLabels(before run.Labels) {
	if a.labels.Setting != before.Setting {
		a.tell(run.Event{Kind: run.SettingNow, Labels: a.labels})
	}
	if a.labels.Supply != before.Supply {
		a.tell(run.Event{Kind: run.SupplyNow, Labels: a.labels})
	}
}
