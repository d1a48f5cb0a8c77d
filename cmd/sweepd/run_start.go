package main

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"sweepd/console"
	"sweepd/report/text"
	"sweepd/run"
)

func (a *app) runStartCommand() *cobra.Command {
	var f startFlags
	var wait bool
	cmd := &cobra.Command{
		Use:   "start [--workload NAME]",
		Short: "Start a run; the agent records until it is stopped",
		Long: `Start a run; the agent records until it is stopped. Without --workload and other
labels it takes those of the plan's next cell. One line says whether the device is
fit to start (cool, idle, charged, on the supply that the plan wants); --wait waits
until it is.`,
		Example: `  sweepd run start --wait                          the next cell of the plan
  sweepd run start --workload harbour-flight --setting 25W
  sweepd run start --workload tile-sort --variant cores=6 --variant fan=quiet --note "after the update"`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			q, want, client, err := a.startRequest(cmd.Context(), &f)
			if err != nil {
				return err
			}
			ready, err := a.tellReady(cmd.Context(), client, want, wait)
			if err != nil {
				return err
			}
			run, err := client.StartRun(cmd.Context(), q)
			if err != nil {
				return err
			}
			return a.printStarted(run, ready)
		},
	}
	f.add(cmd)
	cmd.Flags().BoolVar(&wait, "wait", false, "wait until the device is fit to start")
	return cmd
}

// startRequest is what the user says of a run, or, where that is nothing, what the
// plan says; with what it needs of the device.
func (a *app) startRequest(ctx context.Context, f *startFlags) (q console.StartRequest, want run.Want, client *console.Client, err error) {
	if f.workload == "" && (f.setting != "" || len(f.variant) > 0) {
		return q, want, nil, misused(errors.New("--workload is missing: give it, or no label at all for the plan's next cell"))
	}
	if f.workload != "" {
		if q, err = f.request(); err != nil {
			return q, want, nil, err
		}
	}
	if client, err = a.client(); err != nil {
		return q, want, nil, misused(err)
	}
	if f.workload != "" {
		if q.Setting != "" {
			want.Setting, err = run.ParseSetting(q.Setting)
		}
		return q, want, client, err
	}
	status, err := client.Status(ctx)
	if err != nil {
		return q, want, nil, err
	}
	if status.Recording != nil {
		return q, want, nil, fmt.Errorf("run %s of %q is still recording: stop it first", text.ShortID(status.Recording.ID), status.Recording.Workload)
	}
	slot, err := a.nextSlot(ctx, status.Device)
	if err != nil {
		return q, want, nil, err
	}
	q = console.StartRequest{Workload: slot.Workload, Setting: slot.Setting.String(), Variant: slot.Variant, Note: f.note}
	want = slot.Want()
	want.Setting = slot.Setting
	return q, want, client, q.Check()
}

// tellReady says in one line whether the device is fit to start, or waits until it
// is.
func (a *app) tellReady(ctx context.Context, client *console.Client, want run.Want, wait bool) (r run.Readiness, err error) {
	if wait {
		if err := a.waitReady(ctx, client, want); err != nil {
			return r, err
		}
	}
	if r, err = client.Ready(ctx, want); err != nil {
		return r, err
	}
	terminal := a.terminal(a.err)
	if r.Fit {
		_, err = fmt.Fprintln(a.err, terminal.Paint(readyText(r), toneGood))
		return r, err
	}
	_, err = fmt.Fprintln(a.err, terminal.PaintLines(terminal.Wrap(readyText(r), "  "), toneDoubt))
	return r, err
}

// readyText says whether a device is fit to start, and why not.
func readyText(r run.Readiness) string {
	if !r.Fit {
		return "not fit to start: " + reasonTexts(r)
	}
	switch {
	case r.Celsius != nil && r.Above != nil && *r.Above >= 0:
		return fmt.Sprintf("fit to start: %.1f °C, %.1f K above its idle baseline", *r.Celsius, *r.Above)
	case r.Celsius != nil && r.Above != nil:
		return fmt.Sprintf("fit to start: %.1f °C, %.1f K below its idle baseline", *r.Celsius, -*r.Above)
	}
	return "fit to start (its idle temperature is not known yet)"
}

func reasonTexts(r run.Readiness) string {
	texts := make([]string, len(r.Reasons))
	for i, f := range r.Reasons {
		texts[i] = f.WithAdvice()
	}
	return strings.Join(texts, "; ")
}

// printStarted says in one line what is recorded now, and warns of what was not
// told before: a setting that the system contradicts.
func (a *app) printStarted(r run.Run, told run.Readiness) error {
	r.Findings = slices.DeleteFunc(slices.Clone(r.Findings), func(f run.Finding) bool {
		return slices.ContainsFunc(told.Reasons, func(g run.Finding) bool { return g.Code == f.Code })
	})
	for _, warning := range console.StartWarnings(r) {
		terminal := a.terminal(a.err)
		fmt.Fprintln(a.err, terminal.PaintLines(terminal.Wrap("warning: "+warning, "  "), toneDoubt))
	}
	if a.json {
		return a.printJSON(r)
	}
	setting := "setting unknown"
	if r.Setting.Known() {
		setting = fmt.Sprintf("setting %s (%s)", r.Setting, r.Setting.Source)
	}
	supply := "supply unknown"
	if r.Supply != run.SupplyUnknown {
		supply = "on " + string(r.Supply)
	}
	_, err := fmt.Fprintf(a.out, "run %s started: %s, %s, %s\n", text.ShortID(r.ID), r.Workload, setting, supply)
	return err
}

// waitReady waits until the device is fit to start, and says why it waits: in one
// line that changes on a terminal, else once for each new reason.
func (a *app) waitReady(ctx context.Context, client *console.Client, want run.Want) error {
	last := ""
	terminal := isTerminal(a.err)
	err := client.WaitReady(ctx, want, func(r run.Readiness) {
		line := "waiting: " + reasonTexts(r)
		switch {
		case terminal:
			fmt.Fprintf(a.err, "\r\x1b[K%s", text.Clip(line, a.terminal(a.err).Columns()-1))
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
func reasonsOf(r run.Readiness) string {
	names := make([]string, len(r.Reasons))
	for i, f := range r.Reasons {
		names[i] = string(f.Code)
	}
	return strings.Join(names, " ")
}
