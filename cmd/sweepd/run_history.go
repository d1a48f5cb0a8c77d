package main

import (
	"fmt"

	"github.com/spf13/cobra"

	"sweepd/report/table"
	"sweepd/report/text"
	"sweepd/run"
	"sweepd/store"
	"sweepd/testday"
)

func (a *app) runHistoryCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "history [RUN]",
		Short: "Show what was corrected of runs, by whom and why",
		Long: `Show what was corrected of runs: all corrections with their ids, by which
sweepd run correct --undo takes them back, or all that became of one run since it was
recorded.
` + whichRun,
		Example: `  sweepd run history
  sweepd run history 3f9c21ab`,
		Args: cobra.MaximumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			if len(args) == 0 {
				list, err := call(cmd.Context(), a, testday.ListCorrections, struct{}{})
				if err != nil {
					return err
				}
				return a.printBatches(list)
			}
			k, err := call(cmd.Context(), a, testday.ShowRun, testday.RunRequest{ID: args[0]})
			if err != nil {
				return err
			}
			return a.printHistory(k.ID, k.History)
		},
	}
}

// printBatches lists corrections.
func (a *app) printBatches(list []store.Batch) error {
	if a.json {
		return a.printJSON(list)
	}
	if len(list) == 0 {
		_, err := fmt.Fprintln(a.out, "nothing was corrected yet")
		return err
	}
	p := a.printer()
	t := table.Table{Columns: []table.Column{{Head: "correction"}, {Head: "when"}, {Head: "runs", Right: true}, {Head: "by", Optional: table.Terminal}, {Head: "why", Least: 10}, {Head: "", Least: 10}}}
	for _, b := range list {
		became := ""
		switch {
		case b.Undone != "":
			became = "taken back by " + run.ShortID(b.Undone)
		case b.Undoes != "":
			became = "takes back " + run.ShortID(b.Undoes)
		}
		t.Row(table.Text(run.ShortID(b.ID)), table.Text(timeText(b.At)), table.Text(fmt.Sprint(len(b.Runs))), table.Text(b.Who), table.Text(b.Why), table.Text(became))
	}
	p.Table(&t)
	return p.Err
}

// printHistory tells what became of a run.
func (a *app) printHistory(id string, h store.History) error {
	if a.json {
		return a.printJSON(h)
	}
	p := a.printer()
	n := len(h.Corrections) + len(h.Decisions) + len(h.Results)
	if n == 0 {
		p.Say("run "+run.ShortID(id)+" is as it was recorded", "", text.Plain)
		return p.Err
	}
	p.Say("run "+run.ShortID(id), "", text.Plain)
	p.history(h)
	return p.Err
}

// corrections tells what was corrected, the oldest first.
func (p *printer) corrections(list []store.Corrected) {
	for _, c := range list {
		if c.What == run.FieldSource {
			continue
		}
		line := fmt.Sprintf("  %s: %s", timeText(c.At), changeText(c.Change))
		if c.Who != "" {
			line += ", by " + c.Who
		}
		if c.Why != "" {
			line += ": " + c.Why
		}
		what := " (correction "
		if c.Undoes != "" {
			what = " (taking back " + run.ShortID(c.Undoes) + ", correction "
		}
		p.Say(line+what+run.ShortID(c.Batch)+")", "    ", text.Plain)
	}
}
