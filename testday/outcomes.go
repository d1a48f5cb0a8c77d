package testday

import (
	"context"

	"sweepd/schedule"
)

// ScheduleWent tells how the entries of the agent's schedule went when they were due last.
var ScheduleWent = &Operation[Nothing, map[string]schedule.Outcome]{
	About{Method: "GET", Path: "/schedule/outcomes", Summary: "Tells how the entries of the schedule went when they were due last, by the entry's name."},
	func(ctx context.Context, d *Day, _ Nothing) (map[string]schedule.Outcome, error) {
		return d.Store.Outcomes(ctx)
	},
}
