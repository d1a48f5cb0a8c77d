package main

import (
	"context"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"sweepd/report/text"
	"sweepd/run"
	"sweepd/testday"
)

func (a *app) planNextCommand() *cobra.Command {
	var device string
	cmd := &cobra.Command{
		Use:   "next",
		Short: "Say what to run next, and what to change by hand for it",
		Long: `Say which cell of the plan comes next, and what to change by hand for it, seen from
what the agent reports, or else from the run before. "run start" without labels
starts a run of it. While the plan is done without hands, it says what that does.`,
		Example: `  sweepd plan next
  sweepd plan next --device unit-oak --json`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			n, err := call(cmd.Context(), a, testday.NextRun, testday.DeviceRequest{Device: device})
			if err != nil {
				return err
			}
			return a.printNext(n, a.dayHere(cmd.Context()))
		},
	}
	cmd.Flags().StringVar(&device, "device", "", "what `NAME` has to do next; unless given, the device that an agent watches here")
	return cmd
}

// status asks a running agent what it is doing; it does not wait long, for there may be
// none.
func (a *app) status(ctx context.Context) (testday.Status, error) {
	client, err := a.client()
	if err != nil {
		return testday.Status{}, err
	}
	ctx, cancel := context.WithTimeout(ctx, agentWait)
	defer cancel()
	return client.Status(ctx)
}

// watchedDevice is the name of the device that a running agent watches, or else the one
// that an agent would give to this machine.
func (a *app) watchedDevice(ctx context.Context, c config) (string, error) {
	if s, err := a.status(ctx); err == nil && s.Device != "" {
		return s.Device, nil
	}
	return a.deviceHere(ctx, c)
}

func (a *app) printNext(n testday.Next, day *testday.HandsOff) error {
	if a.json {
		return a.printJSON(n)
	}
	w := a.printer()
	if day != nil && goesOn(*day) {
		w.sayDay(*day)
		w.Say("`sweepd plan stop` ends it, to go on by hand", "  ", text.Plain)
		return w.Err
	}
	if n.Next == nil {
		if s := n.Recording; s != nil {
			w.Say(fmt.Sprintf("run %s is recording: %s", run.ShortID(s.Run), s.Cell), "  ", text.Plain)
		} else {
			w.Say("nothing is left: "+progressText(n.Progress), "", toneGood)
		}
		return w.Err
	}
	w.Say(fmt.Sprintf("%d. %s (pass %d; %d left)", n.Next.Position, n.Next.Cell, n.Next.Pass, n.Left), "   ", text.Plain)
	for _, try := range n.Next.Attempts {
		w.Say(fmt.Sprintf("again, for run %s does not count: %s", run.ShortID(try.Run), try.Why), "  ", toneDoubt)
	}
	if len(n.Changes) > 0 {
		w.Say("first: "+strings.Join(n.Changes, "; "), "  ", text.Plain)
	}
	w.Say("then: sweepd run start --wait", "  ", text.Plain)
	return w.Err
}
