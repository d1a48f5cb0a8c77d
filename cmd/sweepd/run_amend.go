package main

import (
	"context"
	"fmt"
	"time"

	"sweepd/console"
	"sweepd/report/text"
	"sweepd/store"
	"sweepd/store/sqlite"
)

// amend writes to the data directly, with or without an agent, and prints the
// run as it is then.
func (a *app) amend(ctx context.Context, id string, change console.Amendment) error {
	return a.withStore(sqlite.Options{}, func(s store.Store, c config) error {
		change.FramesShort = c.Thresholds.FramesShort
		d, err := console.Amend(ctx, s, id, change, c.Lower, time.Now())
		if err != nil {
			return err
		}
		a.tellAgent(ctx, d.ID)
		if a.json {
			return a.printJSON(console.Detail(d))
		}
		_, err = fmt.Fprintf(a.out, "run %s: %s, %s\n", text.ShortID(d.ID), d.State, resultsText(d.Results))
		return err
	})
}

// tellAgentWait is how long a command waits for an agent that may not be there.
const tellAgentWait = 500 * time.Millisecond

// tellAgent has a running agent, if there is one, follow a change of the data.
func (a *app) tellAgent(ctx context.Context, id string) {
	client, err := a.client()
	if err != nil {
		return
	}
	ctx, cancel := context.WithTimeout(ctx, tellAgentWait)
	defer cancel()
	_ = client.Changed(ctx, id) // without an agent there is nobody to tell
}
