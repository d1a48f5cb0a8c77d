package main

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"sweepd/report/text"
	"sweepd/run"
	"sweepd/schedule"
	"sweepd/store"
	"sweepd/store/sqlite"
)

func (a *app) planNextCommand() *cobra.Command {
	var device string
	cmd := &cobra.Command{
		Use:   "next",
		Short: "Say what to run next, and what to change by hand for it",
		Long: `Say which cell of the plan comes next, and what to change by hand for it, seen from
what the agent reports, or else from the run before. "run start" without labels
starts a run of it.`,
		Example: `  sweepd plan next
  sweepd plan next --device unit-oak --json`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return a.withStore(sqlite.Options{ReadOnly: true}, func(s store.Store, _ config) error {
				p, err := readPlan(cmd.Context(), s)
				if err != nil {
					return err
				}
				if err := checkPlanDevice(&p.plan, device); err != nil {
					return err
				}
				now := a.labelsNow(cmd.Context(), p)
				if device == "" && now.Device != "" && hasDevice(&p.plan, now.Device) {
					device = now.Device // the agent here watches one of the plan's
				}
				return a.printNext(p, p.plan.Follow(p.runs, device, p.estimates, time.Now()), now)
			})
		},
	}
	cmd.Flags().StringVar(&device, "device", "", "what `NAME` has to do next; unless given, the device that an agent watches here")
	return cmd
}

func hasDevice(p *schedule.Plan, name string) bool { return slices.Contains(p.Devices(), name) }

// checkPlanDevice refuses a device that the plan does not have, of which nothing
// would seem to be left; "" stands for all.
func checkPlanDevice(p *schedule.Plan, name string) error {
	if name == "" || hasDevice(p, name) {
		return nil
	}
	return fmt.Errorf("the plan has no device %q: it has %s", name, strings.Join(p.Devices(), ", "))
}

// labelsNow is how the device is set at the moment: what a running agent reports
// on top of what the run before had.
func (a *app) labelsNow(ctx context.Context, p planSeen) (now run.Labels) {
	if n := len(p.runs); n > 0 {
		now = p.runs[n-1].Labels
	}
	client, err := a.client()
	if err != nil {
		return now
	}
	ctx, cancel := context.WithTimeout(ctx, tellAgentWait)
	defer cancel()
	status, err := client.Status(ctx)
	if err != nil || status.Sweeps == 0 {
		return now
	}
	if now.Device != status.Device {
		now = run.Labels{Device: status.Device}
	}
	now.Supply = status.Supply
	if status.Setting.Known() {
		now.Setting = status.Setting
	}
	return now
}

// nextJSON is the next slot; the names are a contract.
type nextJSON struct {
	Next    *schedule.SlotProgress `json:"next"` // null when nothing is left
	Changes []string               `json:"changes"`
	Left    int                    `json:"left"`
}

func (a *app) printNext(p planSeen, g schedule.Progress, now run.Labels) error {
	out := nextJSON{Changes: []string{}, Left: g.Left}
	for i := range g.Slots {
		if s := &g.Slots[i]; s.Position == g.Next {
			out.Next, out.Changes = s, append(out.Changes, schedule.Changes(now.Cell(), s.Slot)...)
		}
	}
	if a.json {
		return a.printJSON(out)
	}
	w := a.printer()
	if out.Next == nil {
		for _, s := range g.Slots {
			if s.State == schedule.Recording {
				w.sentence(fmt.Sprintf("run %s is recording: %s", text.ShortID(s.Run), s.Cell), "  ", text.Plain)
				return w.err
			}
		}
		w.sentence("nothing is left: "+progressText(g), "", toneGood)
		return w.err
	}
	w.sentence(fmt.Sprintf("%d. %s (pass %d; %d left)", out.Next.Position, out.Next.Cell, out.Next.Pass, g.Left), "   ", text.Plain)
	for _, try := range out.Next.Tries {
		w.sentence(fmt.Sprintf("again, for run %s does not count: %s", text.ShortID(try.Run), try.Why), "  ", toneDoubt)
	}
	if len(out.Changes) > 0 {
		w.sentence("first: "+strings.Join(out.Changes, "; "), "  ", text.Plain)
	}
	w.sentence("then: sweepd run start --wait", "  ", text.Plain)
	return w.err
}
