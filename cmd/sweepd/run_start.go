package main

import (
	"context"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"sweepd/agent"
	"sweepd/console"
	"sweepd/report/text"
)

func (a *app) runStartCommand() *cobra.Command {
	var f startFlags
	var wait bool
	cmd := &cobra.Command{
		Use:   "start --workload NAME",
		Short: "Start a run; the agent records until it is stopped",
		Long: `Start a run; the agent records until it is stopped. If the device is not fit to
start (hot, busy, nearly empty), a warning says so; --wait waits until it is.`,
		Example: `  sweepd run start --workload harbour-flight --setting 25W
  sweepd run start --workload tile-sort --variant cores=6 --variant fan=quiet --note "after the update"`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			q, err := f.request()
			if err != nil {
				return err
			}
			client, err := a.client()
			if err != nil {
				return misused(err)
			}
			if wait {
				if err := a.waitReady(cmd.Context(), client); err != nil {
					return err
				}
			}
			run, err := client.StartRun(cmd.Context(), q)
			if err != nil {
				return err
			}
			return a.printStarted(run)
		},
	}
	f.add(cmd)
	cmd.Flags().BoolVar(&wait, "wait", false, "wait until the device is fit to start")
	return cmd
}

// printStarted says in one line what is recorded now, and warns of a setting
// that the system contradicts.
func (a *app) printStarted(run agent.Run) error {
	for _, warning := range console.StartWarnings(run) {
		look := a.look(a.err)
		fmt.Fprintln(a.err, look.PaintLines(look.Wrap("warning: "+warning, "  "), toneDoubt))
	}
	if a.json {
		return a.printJSON(run)
	}
	setting := "setting unknown"
	if run.Setting.Known() {
		setting = fmt.Sprintf("setting %s (%s)", run.Setting, run.Setting.Source)
	}
	supply := "supply unknown"
	if run.Supply != agent.SupplyUnknown {
		supply = "on " + string(run.Supply)
	}
	_, err := fmt.Fprintf(a.out, "run %s started: %s, %s, %s\n", text.ShortID(run.ID), run.Workload, setting, supply)
	return err
}

// waitReady waits until the device is fit to start, and says why it waits: in one
// line that changes on a terminal, else once for each new reason.
func (a *app) waitReady(ctx context.Context, client *console.Client) error {
	last := ""
	terminal := isTerminal(a.err)
	err := client.WaitReady(ctx, func(r agent.Readiness) {
		codes := make([]string, len(r.Reasons))
		for i, f := range r.Reasons {
			codes[i] = f.Text
		}
		line := "waiting: " + strings.Join(codes, "; ")
		switch {
		case terminal:
			fmt.Fprintf(a.err, "\r\x1b[K%s", text.Clip(line, a.look(a.err).Columns()-1))
		case reasonsOf(r) != last:
			fmt.Fprintln(a.err, line)
		}
		last = reasonsOf(r)
	})
	if terminal && last != "" {
		fmt.Fprint(a.err, "\r\x1b[K")
	}
	return err
}

// reasonsOf names the reasons without their numbers.
func reasonsOf(r agent.Readiness) string {
	names := make([]string, len(r.Reasons))
	for i, f := range r.Reasons {
		names[i] = string(f.Code)
	}
	return strings.Join(names, " ")
}
