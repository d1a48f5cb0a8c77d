package main

import (
	"context"
	"fmt"
	"time"

	"sweepd/console"
	"sweepd/report/text"
	"sweepd/store"
)

// amend writes to the data directly, with or without an agent, and prints the
// run as it is then.
func (a *app) amend(ctx context.Context, id string, change console.Amendment) error {
	return a.withStore(store.Options{}, func(s *store.Store, c config) error {
		d, err := console.Amend(ctx, s, id, change, c.Lower, time.Now())
		if err != nil {
			return err
		}
		if a.json {
			return a.printJSON(console.Detail(d))
		}
		_, err = fmt.Fprintf(a.out, "run %s: %s, %s\n", text.ShortID(d.ID), d.State, resultsText(d.Results))
		return err
	})
}
