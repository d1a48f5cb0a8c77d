package agent

import (
	"maps"
	"math"
	"time"
)

// relabelLocked lets the labels that follow from a sweep hold from now on.
// a.mu is held.
func (a *Agent) relabelLocked(values []float64, now time.Duration) {
	next := a.labels
	next.Supply = a.view.supply(values)
	next.Setting = a.activeSetting(values)
	if a.run != nil {
		next.Workload, next.Variant = a.run.detail.Workload, a.run.detail.Variant
	} else {
		next.Workload, next.Variant = "", nil
	}
	if a.shared.ledger.current != nil && a.shared.ledger.current.RunID == a.runID() && sameLabels(next, a.labels) {
		return
	}
	a.labels = next
	a.shared.ledger.under(next, a.runID(), now)
}

func sameLabels(a, b Labels) bool {
	return a.Workload == b.Workload && a.Supply == b.Supply && a.Device == b.Device &&
		sameSetting(a.Setting, b.Setting) && maps.Equal(a.Variant, b.Variant)
}

// sameSetting compares level and source without allocating.
func sameSetting(a, b Setting) bool {
	if a.Name != b.Name || a.Source != b.Source || (a.Watts == nil) != (b.Watts == nil) {
		return false
	}
	return a.Watts == nil || *a.Watts == *b.Watts
}

// activeSetting is the setting of the most trusted source that says anything:
// declared, command, then what the sweep holds.
func (a *Agent) activeSetting(values []float64) Setting {
	a.shared.read = readSetting(a.shared.read, &a.view, values)
	if a.declared.Known() {
		return a.declared
	}
	if c := a.command.Load(); c != nil && c.Known() {
		return *c
	}
	return a.shared.read
}

// readSetting is the setting that a sweep holds. It returns last where that
// says the same, so that an unchanged setting costs no memory.
func readSetting(last Setting, v *view, values []float64) Setting {
	watts, name, source, ok := v.settingRead(values)
	if !ok {
		return Setting{}
	}
	next := Setting{Name: name, Source: source}
	if !math.IsNaN(watts) {
		if last.Watts != nil && *last.Watts == watts && last.Source == source {
			return last
		}
		w := watts // a variable of its own, so that only a change allocates
		next.Watts = &w
	}
	return next
}
