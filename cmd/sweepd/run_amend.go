package main

import (
	"context"
	"fmt"
	"time"

	"sweepd/agent"
	"sweepd/console"
	"sweepd/report/text"
	"sweepd/store"
)

// amendment is what a user changes about a run that is kept.
type amendment struct {
	results  map[string]console.ResultMessage
	decision string // "reject" or "keep", empty for none
	why      string
}

// amend writes to the data directly, with or without an agent, and prints the
// run as it is now.
func (a *app) amend(ctx context.Context, id string, change amendment) error {
	return a.withStore(store.Options{}, func(s *store.Store, c config) error {
		results, err := console.Results(change.results, c.Lower)
		if err != nil {
			return err
		}
		full, err := s.FindRun(ctx, id)
		if err != nil {
			return err
		}
		now := time.Now()
		for _, name := range sortedNames(results) {
			if err := s.SetResult(ctx, full, name, results[name], now); err != nil {
				return err
			}
		}
		switch change.decision {
		case "reject":
			err = s.Reject(ctx, full, change.why, now)
		case "keep":
			err = s.Keep(ctx, full, change.why, now)
		}
		if err != nil {
			return err
		}
		d, err := s.Run(ctx, full)
		if err != nil {
			return err
		}
		return a.printAmended(d)
	})
}

func (a *app) printAmended(d agent.Detail) error {
	if a.json {
		return a.printJSON(console.Detail(d))
	}
	_, err := fmt.Fprintf(a.out, "run %s: %s, %s\n", text.ShortID(d.ID), d.State, resultsText(d.Results))
	return err
}
