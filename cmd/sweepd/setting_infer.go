package main

import (
	"context"
	"fmt"

	"sweepd/testday"
)

// inferSetting reads a power limit from what a run drew, for systems that report
// none. It only says what it found; declaring it is the user's.
func (a *app) inferSetting(ctx context.Context, run string) error {
	limit, err := call(ctx, a, testday.LimitOfRun, testday.RunRequest{ID: run})
	if err != nil {
		return err
	}
	if a.json {
		return a.printJSON(limit)
	}
	_, err = fmt.Fprintf(a.shown(), "%v\na workload that wants no more looks the same; if it is the limit, declare it: sweepd setting %.1fW\n", limit, limit.Watts)
	return err
}
