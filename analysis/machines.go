package analysis

import "sweepd/run"

// severalMachines notes the devices whose runs are of several machines, by the facts of
// the runs: two devices of one name.
func severalMachines(runs []run.Run) (notes []Note) {
	byDevice := map[string]run.Machines{}
	var order []string
	seen := map[machineOf]bool{} // runs share their facts
	for i := range runs {
		at := machineOf{runs[i].Device, run.MachineOf(runs[i].Facts)}
		if seen[at] {
			continue
		}
		seen[at] = true
		list, known := byDevice[at.device]
		if !known {
			order = append(order, at.device)
		}
		list.Add(at.machine)
		byDevice[at.device] = list
	}
	for _, device := range order {
		if list := byDevice[device]; len(list) > 1 {
			notes = append(notes, Note{Code: NoteSeveralMachines, Name: device, Count: len(list), Names: []string{list[0].Differs(list[1])}})
		}
	}
	return notes
}

type machineOf struct {
	device  string
	machine run.Machine
}
