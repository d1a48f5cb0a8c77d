package analysis

import (
	"slices"

	"sweepd/run"
)

// conditions are the facts that change what a device draws or does, and that repeats of
// one cell should share. What is the device's nature, or wears (its battery), or tells of
// the agent is not among them.
var conditions = []string{
	"display_brightness_ratio", run.DisplayRefresh,
	"platform_profile", "power_scheme", "power_mode", "battery_saver",
	"cpu_governor", "cpu_energy_preference", "cpu_frequency_max_hertz", "cpu_boost", "cpus_online", "cores_active", "smt", "gpu_performance_level",
	"radio_wlan", "radio_bluetooth", "radio_wwan", "wlan_link",
	"charger_type", "charger_watts", run.RoomTemperature, run.WorkloadVersion,
	"firmware_version", "controller_firmware_version", "kernel_version", "os", "cpu_microcode", "cpu_driver",
	"gpu_driver", "gpu_driver_version", "gpu_driver_build", "gpu_firmware_version",
}

// IsCondition tells whether a fact changes what a device draws or does.
func IsCondition(key string) bool { return slices.Contains(conditions, key) }

// UnlikeRun is a run made under other conditions than the others of its cell.
type UnlikeRun struct {
	ID         string
	Conditions []UnlikeCondition // at least one
}

// UnlikeCondition is a fact of a run that is another in most of its cell, or, where two
// values are as frequent, in the earlier ones.
type UnlikeCondition struct {
	Key, Value, Usual string
	Alike, Known      int // other runs of the cell that have the usual value, of those that tell one
}

// UnlikeConditions finds the runs made under other conditions than the others of their
// cell. Numbers that are nearly the same count as such (sameFact). What a run does not tell
// it is not held against. runs are in the order of their start and left alone.
func UnlikeConditions(runs []run.Run) []UnlikeRun {
	cells := map[run.Cell][]*run.Run{}
	var order []run.Cell
	for i := range runs {
		cell := runs[i].Cell()
		if cells[cell] == nil {
			order = append(order, cell)
		}
		cells[cell] = append(cells[cell], &runs[i])
	}
	var list []UnlikeRun
	for _, cell := range order {
		list = append(list, unlikeIn(cells[cell])...)
	}
	return list
}

func unlikeIn(cell []*run.Run) []UnlikeRun {
	found := map[string][]UnlikeCondition{}
	for _, key := range conditions {
		usual, alike, known := usualValue(cell, key)
		if alike == known {
			continue
		}
		for _, r := range cell {
			if value, told := r.Facts[key]; told && !sameFact(key, []string{value}, []string{usual}) {
				found[r.ID] = append(found[r.ID], UnlikeCondition{Key: key, Value: value, Usual: usual, Alike: alike, Known: known - 1})
			}
		}
	}
	var list []UnlikeRun
	for _, r := range cell {
		if differences := found[r.ID]; differences != nil {
			list = append(list, UnlikeRun{r.ID, differences})
			delete(found, r.ID)
		}
	}
	return list
}

// usualValue is the value of a fact that most runs of a cell have, the first of those that
// are as frequent; alike of the known have it or one that counts as the same.
func usualValue(cell []*run.Run, key string) (usual string, alike, known int) {
	counts := map[string]int{}
	var values []string // in the order in which they came
	for _, r := range cell {
		value, told := r.Facts[key]
		if !told {
			continue
		}
		if counts[value] == 0 {
			values = append(values, value)
		}
		counts[value]++
		known++
	}
	for _, v := range values {
		n := 0
		for _, other := range values {
			if sameFact(key, []string{v}, []string{other}) {
				n += counts[other]
			}
		}
		if n > alike {
			usual, alike = v, n
		}
	}
	return usual, alike, known
}
