package schedule

import (
	"fmt"

	"sweepd/run"
)

// ManualSteps lists what a tester does before the run of a slot, in order; the workload
// comes last. now is the state of the device; what is empty there is unknown, so the
// list has a step for it.
func ManualSteps(now run.Cell, s Slot) []string {
	var list []string
	if now.Device != "" && now.Device != s.Device {
		list = append(list, "go to "+s.Device)
		now = run.Cell{}
	}
	if now.Supply != s.Supply {
		charge := ""
		if s.NeedsCharge != nil && s.WaitS > 0 {
			charge = fmt.Sprintf("charge to %.0f %% (about %.0f min)", *s.NeedsCharge*100, s.WaitS/60)
		}
		switch s.Supply {
		case run.Mains:
			list = append(list, "plug in")
		case run.Battery:
			if charge != "" {
				list = append(list, charge)
			}
			list = append(list, "unplug")
		}
	} else if s.WaitS > 0 && s.NeedsCharge != nil {
		list = append(list, fmt.Sprintf("plug in, charge to %.0f %% (about %.0f min), unplug", *s.NeedsCharge*100, s.WaitS/60))
	}
	for k, v := range s.Variant.Pairs() {
		if is, _ := now.Variant.Get(k); is != v {
			list = append(list, "set "+k+"="+v)
		}
	}
	for k, v := range now.Variant.Pairs() {
		if _, stays := s.Variant.Get(k); !stays {
			list = append(list, fmt.Sprintf("take back %s=%s", k, v))
		}
	}
	if now.Setting != s.Setting {
		list = append(list, "set "+s.Setting.String())
	}
	if now.Workload != s.Workload {
		list = append(list, "make "+s.Workload+" ready")
	}
	return list
}

// Want is what a run of the slot needs of the device.
func (s Slot) Want() run.Want {
	w := run.Want{Supply: s.Supply, Setting: s.Setting, Workload: s.Workload, Variant: s.Variant}
	if s.NeedsCharge != nil {
		w.MinCharge = *s.NeedsCharge
	}
	return w
}
