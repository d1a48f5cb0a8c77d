package sentence

import (
	"fmt"

	"sweepd/analysis"
)

// noteOnBattery says what is noted of power and runtime on battery.
func noteOnBattery(n analysis.Note) string {
	switch n := n.(type) {
	case analysis.NoUsablePower:
		if n.Runs == 1 {
			return named(n.Group) + ": its run has no usable power of the whole device"
		}
		return fmt.Sprintf("%s: none of %d runs has a usable power of the whole device", named(n.Group), n.Runs)
	case analysis.LoneRunDown:
		return fmt.Sprintf("%s: run %s emptied the battery in %s h; without finished runs on battery there is no prediction to set beside it",
			named(n.Group), ShortID(n.Run), Fixed(float64(n.Hours), 2))
	case analysis.OtherSupplies:
		return fmt.Sprintf("%s on mains or an unknown supply %s not count", Counted(n.Runs, "run"), plural(n.Runs, "does", "do"))
	case analysis.FullEnergyChanges:
		return "the device's word for its full energy changes from run to run: the latest counts"
	case analysis.FullEnergyUnknown:
		return "the full energy of the battery is unknown: no runtimes"
	case analysis.PackNotCounted:
		return fmt.Sprintf("the runtimes count the battery alone and not the pack of %s", n.Pack)
	case analysis.StartChargeUnknown:
		return fmt.Sprintf("%s down to the reserve did not say at which charge %s began: predicted from a full battery", Counted(n.Runs, "run"), plural(n.Runs, "it", "they"))
	case analysis.OverheadBySetting:
		return "too few package watts for the overhead: the line is against set watts, and wrong where the device does not follow its setting"
	case analysis.NoOverhead:
		return "too few runs or too few different powers for an overhead line: it takes three runs at two powers"
	}
	return ""
}
