package main

import (
	"context"
	"fmt"
	"time"

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

// dayAsked is a command that asks something of the day without hands.
type dayAsked struct {
	ask func(*console.Client, context.Context, testday.HandsOffRequest) (testday.HandsOff, error)
	// already says that it was asked before, or that there is nothing to ask; else "".
	already func(testday.HandsOff, dayFlags) string
	// answer says what has become of it; "" while that is open.
	answer func(testday.HandsOff, dayFlags) string
}

// A day does what it is asked within moments, but for a run: answerWait is how long that may
// take, endWait where a workload has to be ended.
const (
	answerWait = 3 * time.Second
	endWait    = 12 * time.Second
	answerPoll = 50 * time.Millisecond
)

// dayCommand asks something of the day without hands that goes on, and says what has become
// of it.
func (a *app) dayCommand(c *cobra.Command, d dayAsked) *cobra.Command {
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
		already := d.already(before, f)
		day, err := d.ask(at.agent, ctx, testday.HandsOffRequest{By: byTyped("sweepd plan " + cmd.Name()), Why: f.why, Now: f.now})
		if err != nil {
			return a.explainRefusal(at, err)
		}
		day, words := a.awaitAnswer(ctx, at, day, d, f)
		if a.json {
			return a.printJSON(day)
		}
		if !goesOn(day) {
			return a.printOver(day)
		}
		p := a.printer()
		if already != "" {
			p.Say(already, "  ", text.Plain)
		}
		if words != "" && already == "" {
			p.Say(words, "  ", toneGood)
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

// awaitAnswer waits until the day has done what it was asked, but no longer than that may
// take.
func (a *app) awaitAnswer(ctx context.Context, at respondent, day testday.HandsOff, d dayAsked, f dayFlags) (testday.HandsOff, string) {
	wait := answerWait
	if f.now {
		wait = endWait
	}
	ctx, cancel := context.WithTimeout(ctx, wait)
	defer cancel()
	for {
		words := d.answer(day, f)
		if words != "" {
			return day, words
		}
		select {
		case <-ctx.Done():
			return day, ""
		case <-time.After(answerPoll):
		}
		if now, err := at.agent.HandsOff(ctx); err == nil {
			day = now
		}
	}
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
	}, dayAsked{(*console.Client).PauseHandsOff, func(d testday.HandsOff, _ dayFlags) string {
		switch {
		case d.State == testday.Paused:
			return "it is paused already"
		case d.Pausing && d.Run != "":
			return "it was told to pause already, after this run"
		}
		return ""
	}, func(d testday.HandsOff, _ dayFlags) string {
		switch {
		case d.State == testday.Paused:
			return "paused, and what was set is back"
		case d.Run != "":
			return "it pauses after this run"
		}
		return overText(d)
	}})
}

// overText says that a day is over where it is.
func overText(d testday.HandsOff) string {
	if goesOn(d) {
		return ""
	}
	return "the day is over"
}

func (a *app) planResumeCommand() *cobra.Command {
	return a.dayCommand(&cobra.Command{
		Use:   "resume",
		Short: "Go on with a day without hands that is paused",
		Long: `Go on with a day without hands that is paused, by a person or by a guard: look at the
device first where a guard paused it. It needs the right that "sweepd plan run" needs.`,
		Example: "  sweepd plan resume",
	}, dayAsked{(*console.Client).ResumeHandsOff, func(d testday.HandsOff, _ dayFlags) string {
		if d.State != testday.Paused && d.State != testday.Hand && !d.Pausing && !d.Stopping {
			return "it is not paused"
		}
		return ""
	}, func(d testday.HandsOff, _ dayFlags) string {
		if goesOn(d) && d.State != testday.Paused && !d.Pausing && !d.Stopping {
			return "it goes on"
		}
		return overText(d)
	}})
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
	}, dayAsked{(*console.Client).StopHandsOff, func(d testday.HandsOff, f dayFlags) string {
		if endsAfterRun(d) && !f.now {
			return "it was told to end already, after this run; --now ends it at once"
		}
		return ""
	}, func(d testday.HandsOff, f dayFlags) string {
		if d.Run != "" && !f.now {
			return "it ends after this run"
		}
		return overText(d)
	}})
}
