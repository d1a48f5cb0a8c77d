package store

import (
	"time"

	"sweepd/run"
)

// Filter selects runs; empty fields select all.
type Filter struct {
	Device   string
	Workload string
	Supply   run.Supply
	Variant  run.Variant // runs that have each of these pairs
	Setting  run.Setting // of which the run is
	State    run.State
	Finding  run.Code  // that the run has
	Since    time.Time // started at or after
	Until    time.Time // started before
	Limit    int       // the newest so many; 0: all
}
