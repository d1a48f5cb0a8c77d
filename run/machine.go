package run

import "cmp"

// Facts by which a machine is known again, beside its model. The ids are hidden by a keyed
// hash: neither is stored as the system gives it.
const (
	FactHardwareID = "hardware_id" // from the firmware; Linux gives it to root only
	FactSystemID   = "system_id"   // of the installed system
)

// Machine is by what a machine is known again. What is not known is empty.
type Machine struct {
	HardwareID, SystemID    string
	Model, Board, CPU, Arch string
}

// MachineOf is the machine that facts tell of.
func MachineOf(facts map[string]string) Machine {
	return Machine{HardwareID: facts[FactHardwareID], SystemID: facts[FactSystemID],
		Model: facts["host_model"], Board: facts["host_board"], CPU: facts["cpu_model"], Arch: facts["architecture"]}
}

// Known tells whether anything is known of the machine.
func (m Machine) Known() bool { return cmp.Or(m.HardwareID, m.SystemID, m.Model, m.Board, m.CPU) != "" }

// Differs says why two machines are not the same one, "" where nothing speaks for that.
// The firmware's id decides where both have one. Else another model, main board or
// processor says so, and else another installed system: of one model that is mostly
// another unit, and at times the same one whose system was installed anew. Memory,
// batteries and the versions of firmware, kernel and drivers say nothing: they change. Two
// equal units cannot be told apart where both lack an id.
func (m Machine) Differs(o Machine) string {
	differ := func(a, b string) bool { return a != "" && b != "" && a != b }
	switch {
	case m.HardwareID != "" && m.HardwareID == o.HardwareID:
		return ""
	case differ(m.HardwareID, o.HardwareID):
		return "their firmware has different ids"
	case differ(m.Model, o.Model):
		return "their models differ: " + Shorten(m.Model) + " and " + Shorten(o.Model)
	case differ(m.Board, o.Board):
		return "their main boards differ: " + Shorten(m.Board) + " and " + Shorten(o.Board)
	case differ(m.CPU, o.CPU) && m.Arch == o.Arch:
		return "their processors differ: " + Shorten(m.CPU) + " and " + Shorten(o.CPU)
	case differ(m.SystemID, o.SystemID):
		return "their systems have different ids"
	}
	return ""
}

// Machines gathers the machines that runs were recorded on, each once: of those that do
// not differ the one of which most is known.
type Machines []Machine

// Add adds one, unless it is there or nothing is known of it.
func (l *Machines) Add(m Machine) {
	if !m.Known() {
		return
	}
	for i, x := range *l {
		if m.Differs(x) == "" {
			(*l)[i] = x.with(m)
			return
		}
	}
	*l = append(*l, m)
}

// with fills in what is not known from what another says of the same machine.
func (m Machine) with(o Machine) Machine {
	return Machine{HardwareID: cmp.Or(m.HardwareID, o.HardwareID), SystemID: cmp.Or(m.SystemID, o.SystemID),
		Model: cmp.Or(m.Model, o.Model), Board: cmp.Or(m.Board, o.Board), CPU: cmp.Or(m.CPU, o.CPU), Arch: cmp.Or(m.Arch, o.Arch)}
}

// Other says why a machine is none of these; "" where it may be one, and where none is
// known.
func (l Machines) Other(m Machine) (why string) {
	for _, x := range l {
		if why = x.Differs(m); why == "" {
			return ""
		}
	}
	return why
}
