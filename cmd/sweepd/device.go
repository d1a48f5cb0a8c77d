package main

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"sweepd/report/sentence"
	"sweepd/report/table"
	"sweepd/report/text"
	"sweepd/run"
	"sweepd/testday"
)

func (a *app) deviceCommand() *cobra.Command {
	cmd := &cobra.Command{
		Use:     "device",
		Short:   "List the devices that have runs",
		Example: `  sweepd device list`,
	}
	cmd.AddCommand(a.deviceListCommand(), a.deviceRenameCommand())
	return cmd
}

func (a *app) deviceRenameCommand() *cobra.Command {
	var q testday.RenameRequest
	cmd := &cobra.Command{
		Use:   "rename OLD NEW",
		Short: "Give all runs of a device, and its plans, another name, or take that back",
		Long: `Give all runs of a device, and its plans, another name. It is a correction as those of
"run correct": run history shows it, merge takes it along, and --undo takes it back.
Where NEW has runs already they become one device, unless another machine made them:
--into says that they are one all the same. Not while a run of the device is recording.
An agent that watches the device calls it OLD until it is started anew.`,
		Example: `  sweepd device rename localhost unit-oak --dry-run
  sweepd device rename localhost unit-oak
  sweepd device rename localhost unit-oak --undo`,
		Args: cobra.ExactArgs(2),
		RunE: func(cmd *cobra.Command, args []string) error {
			q.Old, q.New, q.Who = args[0], args[1], typist()
			x, err := a.rename(cmd.Context(), &q)
			if err != nil {
				return err
			}
			if a.json {
				return a.printJSON(x)
			}
			return a.printRenamed(x, q)
		},
	}
	cmd.Flags().BoolVar(&q.Into, "into", false, "NEW is the same device, whatever its runs say of its machine")
	cmd.Flags().BoolVar(&q.Undo, "undo", false, "take the last renaming of OLD to NEW back")
	cmd.Flags().BoolVar(&q.DryRun, "dry-run", false, "say what would be renamed, and change nothing")
	cmd.Flags().StringVar(&q.Why, "why", "", "`TEXT` that says why, kept with the correction")
	newFlag(cmd.Flags(), &q.Meant)
	cmd.MarkFlagsMutuallyExclusive("into", "undo")
	return cmd
}

// rename asks about a name that is probably a slip of another device's, and about two
// devices that become one, before anything is renamed.
func (a *app) rename(ctx context.Context, q *testday.RenameRequest) (testday.RenameAnswer, error) {
	for look := !q.Undo && !q.DryRun; look; { // again, where another name is meant
		dry := *q
		dry.DryRun = true
		x, err := call(ctx, a, testday.Rename, dry)
		if err != nil {
			return x, err
		}
		use, err := a.settleDoubts(x.Doubts, "")
		if err != nil {
			return x, err
		}
		for _, d := range use {
			q.New = d.Near
		}
		q.Meant, look = true, len(use) > 0
		if x.Joined > 0 && !q.Into && !look {
			said, asked := a.ask(fmt.Sprintf("%s has %s already. Make the two one device?", q.New, sentence.Counted(x.Joined, "run")))
			if asked && !said {
				return x, errors.New("nothing was renamed")
			}
		}
	}
	x, err := call(ctx, a, testday.Rename, *q)
	for _, d := range x.Doubts {
		a.warn(d.String())
	}
	return x, err
}

func (a *app) printRenamed(x testday.RenameAnswer, q testday.RenameRequest) error {
	p := a.printer()
	is, are := "is", "are"
	if q.DryRun {
		is, are = "would be", "would be"
	}
	p.Say(fmt.Sprintf("%s %s %s: %s, %s", x.Old, is, x.New, sentence.Counted(x.Runs, "run"), sentence.Counted(x.Plans, "plan")), "  ", text.Plain)
	if x.Joined > 0 {
		p.Say(fmt.Sprintf("%s has %s besides: the two %s one device", x.New, sentence.Counted(x.Joined, "run"), are), "  ", toneDoubt)
	}
	if x.Watched && !q.DryRun {
		p.Say(fmt.Sprintf("the agent still calls it %s: start it anew (and change device: in its configuration, if that names it)", x.Old), "  ", toneDoubt)
	}
	if !q.DryRun && !q.Undo {
		p.Say(fmt.Sprintf("sweepd device rename %s %s --undo takes it back", q.Old, q.New), "  ", text.Plain)
	}
	return p.Err
}

func (a *app) deviceListCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "list",
		Short: "List the devices that have runs, and the machines that these were recorded on",
		Long: `List the devices that have runs, and the machines that these were recorded on, by what
the runs say of them: model, processor, and the first characters of the machine's id,
which is kept and shown as a keyed hash alone. Several machines of one name are two
devices that became one, or one whose system was installed anew.`,
		Example: `  sweepd device list
  sweepd device list --json`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			list, err := call(cmd.Context(), a, testday.ListDevices, testday.Nothing{})
			if err != nil {
				return err
			}
			if a.json {
				return a.printJSON(list)
			}
			return a.printDevices(list)
		},
	}
}

func (a *app) printDevices(list []testday.Device) error {
	p := a.printer()
	if len(list) == 0 {
		p.Say("no runs yet", "", text.Plain)
	}
	t := table.Table{Columns: []table.Column{
		{Head: "device", Least: 8}, {Head: "runs", Right: true}, {Head: "first"}, {Head: "last"}, {Head: "machine", Least: 20},
	}}
	for _, d := range list {
		t.Row(table.Text(d.Device), table.Count(d.Runs), table.Text(dayText(d.First)), table.Text(dayText(d.Last)), table.Text(machinesText(d.Machines)))
	}
	p.Table(&t)
	for _, d := range list {
		if len(d.Machines) > 1 {
			p.Say(fmt.Sprintf("%s: runs of %d machines, %s: two devices of one name, or one whose system was installed anew", d.Device, len(d.Machines), d.Differ), "  ", toneDoubt)
		}
	}
	return p.Err
}

// machinesText says what machines are known of.
func machinesText(list []testday.DeviceMachine) string {
	var all []string
	for _, m := range list {
		var parts []string
		for _, part := range []string{m.Model, m.Processor} {
			if part != "" {
				parts = append(parts, part)
			}
		}
		if m.ID != "" {
			parts = append(parts, "id "+m.ID)
		}
		all = append(all, strings.Join(parts, ", "))
	}
	if len(all) == 0 {
		return sentence.Dash
	}
	return strings.Join(all, "; ")
}

// dayText is the day of a time, where the user is.
func dayText(t run.Timestamp) string {
	if t.IsZero() {
		return sentence.Dash
	}
	return t.Local().Format("2006-01-02")
}
