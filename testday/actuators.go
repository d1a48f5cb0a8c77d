package testday

import (
	"context"

	"sweepd/actuators"
)

// ActuatorOffers tells what of the watched device can be set; nothing is written by it.
type ActuatorOffers func() []actuators.Offer

// ListActuators lists what of the watched device can be set, and what would be needed.
var ListActuators = &Operation[Nothing, []actuators.Offer]{
	About{Method: "GET", Path: "/actuators", Opens: OpensNothing,
		Summary: "Lists what of the watched device can be set, with range, present value and what would be needed to set it. Nothing is written."},
	func(_ context.Context, d *Day, _ Nothing) ([]actuators.Offer, error) {
		if d.Actuators == nil {
			return []actuators.Offer{}, nil
		}
		return d.Actuators(), nil
	},
}
