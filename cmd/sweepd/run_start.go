package main

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"sweepd/console"
	"sweepd/report/sentence"
	"sweepd/report/text"
	"sweepd/run"
	"sweepd/testday"
)

func (a *app) runStartCommand() *cobra.Command {
	f := startFlags{by: testday.ByStart}
	var wait bool
	cmd := &cobra.Command{
		Use:   "start [--workload NAME]",
		Short: "Start a run; the agent records until it is stopped",
		Long: `Start a run; the agent records until it is stopped. Without --workload and other
labels it takes those of the plan's next cell. One line says whether the device is
fit to start (cool, idle, charged, on the supply that the plan wants); where it is not,
the run is started all the same and keeps the finding. --wait waits until the device is
fit, says for what and how long, and for what it needs you; Ctrl-C starts nothing.`,
		Example: `  sweepd run start --wait                          the next cell of the plan
  sweepd run start --workload harbour-flight --setting 25W
  sweepd run start --workload tile-sort --variant cores=6 --variant fan=quiet --note "warm room"`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			start, want, client, err := a.start(cmd.Context(), &f)
			if err != nil {
				return err
			}
			look := testday.Ready
			if wait {
				look = a.waitReady
			}
			before, err := look(cmd.Context(), client, want)
			if err != nil {
				return err
			}
			run, err := testday.Start(cmd.Context(), client, start)
			if err != nil {
				return err
			}
			return a.printStarted(cmd.Context(), client, run, want, before)
		},
	}
	f.add(cmd)
	cmd.Flags().BoolVar(&wait, "wait", false, "wait until the device is fit to start")
	return cmd
}

// start is the run that the user asks for or, where no label is given, that of the
// plan's next cell, and what it needs of the device.
func (a *app) start(ctx context.Context, f *startFlags) (start run.Start, want run.Want, client *console.Client, err error) {
	if f.workload == "" && (f.setting != "" || len(f.variant) > 0) {
		return start, want, nil, misused(errors.New("--workload is missing: give it, or no label at all for the plan's next cell"))
	}
	if f.workload != "" {
		if start, err = f.start(); err != nil {
			return start, want, nil, err
		}
	}
	typed, err := f.typed()
	if err != nil {
		return start, want, nil, err
	}
	if client, err = a.client(); err != nil {
		return start, want, nil, misused(err)
	}
	status, err := testday.FreeToRecord(ctx, client)
	if err != nil {
		return start, want, nil, err
	}
	if f.workload != "" {
		use, err := a.settle(ctx, testday.NamedInStart(start), f.isNew, "last")
		for _, d := range use {
			start = d.InStart(start)
		}
		return start, testday.WantOf(start), client, err
	}
	next, err := call(ctx, a, testday.PlanNextStart, testday.NextStartRequest{Device: status.Device, Note: f.note})
	if err != nil {
		return start, want, nil, err
	}
	start, err = next.Start.Start()
	start.Typed = typed
	return start, next.Want, client, err
}

// printStarted says in one line what is recorded now, and before it what speaks against
// it or, where nothing does, that the device was fit.
func (a *app) printStarted(ctx context.Context, client *console.Client, r run.Run, want run.Want, before run.Readiness) error {
	terminal := a.terminal(a.err)
	sentences, tone := testday.StartedSentences(r, want, before), toneDoubt
	if len(sentences) == 0 {
		sentences, tone = []string{testday.FitSentence(before)}, toneGood
	}
	for _, s := range sentences {
		fmt.Fprintln(a.err, terminal.PaintLines(terminal.Wrap(s, "  "), tone))
	}
	if a.json {
		return a.printJSON(r)
	}
	setting := "setting unknown"
	if r.Setting.Known() {
		setting = fmt.Sprintf("setting %s (%s)", r.Setting, r.Setting.Source)
	}
	// Of a setting that was declared before, the person is told when.
	if r.Setting.Source == run.Declared && !want.Setting.Known() {
		if s, err := client.Status(ctx); err == nil && s.Declared != nil {
			setting = fmt.Sprintf("setting %s (declared %s)", r.Setting, declaredWhen(s))
		}
	}
	supply := "supply unknown"
	if r.Supply != run.SupplyUnknown {
		supply = "on " + string(r.Supply)
	}
	if _, err := fmt.Fprintf(a.shown(), "run %s started: %s, %s, %s\n", run.ShortID(r.ID), r.Workload, setting, supply); err != nil || len(r.Facts) == 0 {
		return err
	}
	typed := map[string][]string{}
	for key, value := range r.Facts {
		typed[key] = []string{value}
	}
	var parts []string
	for _, f := range sentence.Facts(typed) {
		parts = append(parts, f.Name+" "+f.Value)
	}
	_, err := fmt.Fprintf(a.shown(), "  typed, and in force until changed: %s\n", strings.Join(parts, ", "))
	return err
}

// waitReady waits until the device is fit to start, and says why it waits: in one
// line that changes on a terminal, else once for each new reason.
func (a *app) waitReady(ctx context.Context, agent testday.Agent, want run.Want) (run.Readiness, error) {
	last := ""
	terminal := isTerminal(a.err)
	r, err := testday.WaitReady(ctx, agent, want, terminal, func(r run.Readiness) {
		line := testday.WaitingSentence(r)
		switch {
		case terminal:
			fmt.Fprintf(a.err, "\r\x1b[K%s", text.Clip(line, a.terminal(a.err).Columns()-1))
		case reasonsOf(r) != last:
			fmt.Fprintln(run.VisibleWriter{To: a.err}, a.terminal(a.err).Wrap(line, "  "))
		}
		last = reasonsOf(r)
	})
	if terminal && last != "" {
		fmt.Fprint(a.err, "\r\x1b[K")
	}
	return r, err
}

// reasonsOf names the reasons without their numbers.
func reasonsOf(r run.Readiness) string {
	names := make([]string, len(r.Reasons))
	for i, f := range r.Reasons {
		names[i] = string(f.Code)
	}
	return strings.Join(names, " ")
}
