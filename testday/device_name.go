package testday

import (
	"context"
	"errors"
	"fmt"

	"sweepd/run"
	"sweepd/store"
)

// Naming is what the name of the device that an agent watches follows from.
type Naming struct {
	Configured string // device: in the configuration; "" not said
	Host       string // the system's name
	HostIsBare bool   // which many machines have, since nobody gave them one
	Machine    run.Machine
	ID         string // hidden, of this machine; "" unknown
}

// DeviceName is the name of the device that an agent watches: the configured one; else
// the one that the runs recorded into this data have, whatever the host is called now;
// else the host's, with four characters of the machine's id where many machines have that
// name, or another machine has runs of it. s may be nil: there is no data yet. warning is
// what the user should know of it.
func DeviceName(ctx context.Context, s store.Runs, n Naming) (name, warning string, err error) {
	last, recorded, err := lastRecorded(ctx, s)
	if err != nil {
		return "", "", err
	}
	why := last.Differs(n.Machine)
	switch {
	case n.Configured != "":
		if recorded != "" && recorded != n.Configured && why == "" {
			warning = fmt.Sprintf("the runs recorded here so far are of %s, and device: in the configuration says %s: they are two devices from now on, unless you say sweepd device rename %s %s",
				recorded, n.Configured, recorded, n.Configured)
		}
		return n.Configured, warning, nil
	case recorded != "" && why == "":
		return recorded, "", nil
	case recorded != "":
		warning = fmt.Sprintf("the runs recorded here so far are of another machine, %s (%s)", recorded, why)
	}
	if n.Host == "" {
		return "", "", errors.New("the device needs a name (device: in the configuration), for the host has none")
	}
	name = n.Host
	taken, err := takenByAnother(ctx, s, name, n.Machine)
	if err != nil || !n.HostIsBare && !taken {
		return name, warning, err
	}
	if n.ID == "" {
		return name, fmt.Sprintf("many machines are called %s, and this one has no id that can be read: give it a name (device: in the configuration)", name), nil
	}
	return name + "-" + n.ID[:min(idLetters, len(n.ID))], warning, nil
}

// idLetters is how many characters of a machine's id tell its name from others.
const idLetters = 4

// lastRecorded is the machine, and the name of the device, of the run that was recorded
// here last; "" where there is none.
func lastRecorded(ctx context.Context, s store.Runs) (run.Machine, string, error) {
	if s == nil {
		return run.Machine{}, "", nil
	}
	last, err := s.Run(ctx, store.Last)
	if errors.Is(err, run.ErrNoRun) {
		return run.Machine{}, "", nil
	}
	return run.MachineOf(last.Facts), last.Device, err
}

// takenByAnother tells whether the data has runs of the name that another machine made.
func takenByAnother(ctx context.Context, s store.Runs, name string, here run.Machine) (bool, error) {
	if s == nil {
		return false, nil
	}
	devices, err := s.Devices(ctx)
	for _, d := range devices {
		if d.Device == name {
			return d.Machines.Other(here) != "", err
		}
	}
	return false, err
}
