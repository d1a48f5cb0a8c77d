package schedule

import (
	"fmt"
	"maps"
	"slices"

	"sweepd/agent"
)

// Changes says what to do by hand before a run of cell c, when the device is as
// the labels of now say; unknown ones are to be made sure of. The workload itself
// comes last.
func Changes(now agent.Labels, s Slot) []string {
	var list []string
	if now.Device != "" && now.Device != s.Device {
		list = append(list, "go to "+s.Device)
		now = agent.Labels{}
	}
	if now.Supply != s.Supply {
		charge := ""
		if s.NeedsCharge != nil && s.WaitS > 0 {
			charge = fmt.Sprintf("charge to %.0f %% (about %.0f min)", *s.NeedsCharge*100, s.WaitS/60)
		}
		switch s.Supply {
		case agent.Mains:
			list = append(list, "plug in")
		case agent.Battery:
			if charge != "" {
				list = append(list, charge)
			}
			list = append(list, "unplug")
		}
	} else if s.WaitS > 0 && s.NeedsCharge != nil {
		list = append(list, fmt.Sprintf("plug in, charge to %.0f %% (about %.0f min), unplug", *s.NeedsCharge*100, s.WaitS/60))
	}
	for _, k := range slices.Sorted(maps.Keys(s.Variant)) {
		if now.Variant == nil || now.Variant[k] != s.Variant[k] {
			list = append(list, "set "+k+"="+s.Variant[k])
		}
	}
	for _, k := range slices.Sorted(maps.Keys(now.Variant)) {
		if _, stays := s.Variant[k]; !stays {
			list = append(list, fmt.Sprintf("take back %s=%s", k, now.Variant[k]))
		}
	}
	if !now.Setting.Same(s.Setting) {
		list = append(list, "set "+s.Setting.String())
	}
	if now.Workload != s.Workload {
		list = append(list, "make "+s.Workload+" ready")
	}
	return list
}

// Want is what a run of the slot needs of the device.
func (s Slot) Want() agent.Want {
	w := agent.Want{Supply: s.Supply, Setting: s.Setting}
	if s.NeedsCharge != nil {
		w.MinCharge = *s.NeedsCharge
	}
	return w
}
