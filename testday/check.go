package testday

import (
	"context"

	"sweepd/store"
)

// CheckData tells what of the data is damaged and what is whole.
var CheckData = &Operation[Nothing, store.CheckReport]{
	About{Method: "GET", Path: "/check", Summary: "Reads all that is kept and tells what of it is damaged."},
	func(ctx context.Context, d *Day, _ Nothing) (store.CheckReport, error) { return d.Store.Check(ctx) },
}
