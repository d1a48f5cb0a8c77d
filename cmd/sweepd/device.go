package main

import (
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
	cmd.AddCommand(a.deviceListCommand())
	return cmd
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
