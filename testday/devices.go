package testday

import (
	"context"
	"time"

	"sweepd/run"
	"sweepd/store"
)

// Device is a device that has runs.
type Device struct {
	Device   string          `json:"device"`
	Runs     int             `json:"runs"`
	First    run.Timestamp   `json:"first"` // start; empty where unknown
	Last     run.Timestamp   `json:"last"`
	Machines []DeviceMachine `json:"machines"` // by the facts of the runs; more than one: two devices of one name, or one installed anew
	Differ   string          `json:"differ"`   // why they are not one
}

// DeviceMachine is one that runs were recorded on. What is not known is empty.
type DeviceMachine struct {
	Model     string `json:"model"`
	Board     string `json:"board"`
	Processor string `json:"processor"`
	ID        string `json:"id"` // the first characters of its hidden id
}

// ListDevices lists the devices that have runs.
var ListDevices = &Operation[Nothing, []Device]{
	About{Method: "GET", Path: "/devices", Summary: "Lists the devices that have runs, and the machines that these were recorded on."},
	func(ctx context.Context, d *Day, _ Nothing) ([]Device, error) { return Devices(ctx, d.Store) },
}

// Devices lists the devices that have runs, in the order of their names.
func Devices(ctx context.Context, s store.Runs) ([]Device, error) {
	list, err := s.Devices(ctx)
	out := []Device{}
	for _, x := range list {
		d := Device{Device: x.Device, Runs: x.Runs, First: stamp(x.First), Last: stamp(x.Last), Machines: []DeviceMachine{}}
		for _, m := range x.Machines {
			id := m.HardwareID
			if id == "" {
				id = m.SystemID
			}
			d.Machines = append(d.Machines, DeviceMachine{Model: m.Model, Board: m.Board, Processor: m.CPU, ID: id[:min(idLetters, len(id))]})
			d.Differ = x.Machines[0].Differs(m)
		}
		out = append(out, d)
	}
	return out, err
}

func stamp(at time.Time) (s run.Timestamp) {
	if !at.IsZero() {
		s = run.Stamp(at)
	}
	return s
}
