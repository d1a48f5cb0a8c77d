package main

import (
	"context"
	"fmt"

	"github.com/spf13/cobra"

	"sweepd/console"
	"sweepd/report/text"
	"sweepd/run"
	"sweepd/testday"
)

// dayFlags are those of what is asked of a day.
type dayFlags struct {
	why string
	now bool
}

// dayCommand asks something of the day without hands that goes on.
func (a *app) dayCommand(c *cobra.Command, ask func(*console.Client, context.Context, testday.HandsOffRequest) (testday.HandsOff, error), already func(testday.HandsOff, dayFlags) string) *cobra.Command {
	var f dayFlags
	c.Args = cobra.NoArgs
	c.RunE = func(cmd *cobra.Command, _ []string) error {
		if f.why != "" {
			if err := run.CheckLabel("--why", f.why); err != nil {
				return misused(err)
			}
		}
		ctx := cmd.Context()
		at, err := a.dayAgent(ctx)
		if err != nil {
			return err
		}
		before, err := at.agent.HandsOff(ctx)
		if err != nil {
			return a.explainRefusal(at, err)
		}
		if !goesOn(before) {
			return noDay(at, before)
		}
		words := already(before, f)
		day, err := ask(at.agent, ctx, testday.HandsOffRequest{By: byTyped("sweepd plan " + cmd.Name()), Why: f.why, Now: f.now})
		if err != nil {
			return a.explainRefusal(at, err)
		}
		if a.json {
			return a.printJSON(day)
		}
		p := a.printer()
		if words != "" {
			p.Say(words, "  ", text.Plain)
		}
		if day.State == testday.Over {
			return a.printOver(day)
		}
		p.sayDay(day)
		return p.Err
	}
	c.Flags().StringVar(&f.why, "why", "", "`TEXT` that says why")
	if c.Name() == "stop" {
		c.Flags().BoolVar(&f.now, "now", false, "end the workload in progress, too; its run is rejected")
	}
	return c
}

// noDay says that no day goes on, and what may have been meant.
func noDay(at respondent, d testday.HandsOff) error {
	words := "no day without hands goes on: `sweepd plan run` begins one"
	if d.State == testday.Over {
		words = "the day without hands is over already: `sweepd plan run` goes on with what is left of the plan"
	}
	if r := at.status.Recording; r != nil {
		words += fmt.Sprintf("; run %s is recording, which `sweepd run stop` ends", run.ShortID(r.ID))
	}
	return fmt.Errorf("%s", words)
}

func (a *app) planPauseCommand() *cobra.Command {
	return a.dayCommand(&cobra.Command{
		Use:   "pause",
		Short: "Pause the day without hands after the run in progress",
		Long: `Pause the day without hands after the run in progress. What was set is put back
meanwhile. "sweepd plan resume" goes on.`,
		Example:     `  sweepd plan pause --why lunch`,
		Annotations: instead("now", "`sweepd plan stop --now` ends the run in progress"),
	}, (*console.Client).PauseHandsOff, func(d testday.HandsOff, _ dayFlags) string {
		switch {
		case d.State == testday.Paused:
			return "it is paused already"
		case d.Pausing:
			return "it was told to pause already"
		}
		return ""
	})
}

func (a *app) planResumeCommand() *cobra.Command {
	return a.dayCommand(&cobra.Command{
		Use:   "resume",
		Short: "Go on with a day without hands that is paused",
		Long: `Go on with a day without hands that is paused, by a person or by a guard: look at the
device first where a guard paused it. It needs the right that "sweepd plan run" needs.`,
		Example: "  sweepd plan resume",
	}, (*console.Client).ResumeHandsOff, func(d testday.HandsOff, _ dayFlags) string {
		if d.State != testday.Paused && !d.Pausing {
			return "it is not paused"
		}
		return ""
	})
}

func (a *app) planStopCommand() *cobra.Command {
	return a.dayCommand(&cobra.Command{
		Use:   "stop [--now]",
		Short: "End the day without hands, after the run in progress or at once",
		Long: `End the day without hands after the run in progress, or at once with --now: then the
workload is ended and its run rejected. What was set is put back, and the plan keeps what
is done: "sweepd plan run" goes on with the rest.`,
		Example: `  sweepd plan stop
  sweepd plan stop --now --why "the fan is loud"`,
	}, (*console.Client).StopHandsOff, func(d testday.HandsOff, f dayFlags) string {
		switch {
		case endsAfterRun(d) && !f.now:
			return "it was told to end already, after this run; --now ends it at once"
		case d.Stopping:
			return "it was told to end already"
		}
		return ""
	})
}
