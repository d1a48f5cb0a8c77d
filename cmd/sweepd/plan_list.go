package main

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"sweepd/report/table"
	"sweepd/testday"
)

func (a *app) planListCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "list",
		Short: "List the plans that were made, and how far each has come",
		Example: `  sweepd plan list
  sweepd plan follow 2`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			list, err := call(cmd.Context(), a, testday.PlansMade, testday.Nothing{})
			if err != nil {
				return err
			}
			if a.json {
				return a.printJSON(list)
			}
			if len(list) == 0 {
				_, err := fmt.Fprintln(a.out, "there is no plan: make one with `sweepd plan new`")
				return err
			}
			return a.printPlans(list)
		},
	}
}

func (a *app) printPlans(list []testday.PlanSummary) error {
	t := table.Table{Columns: []table.Column{
		{Head: "plan", Right: true}, {Head: "made", Least: 16}, {Head: "devices", Least: 8}, {Head: "workloads", Least: 8, Optional: table.Terminal},
		{Head: "runs", Right: true}, {Head: "done", Right: true}, {Head: "left", Right: true}, {Head: ""},
	}}
	now := time.Now()
	for _, p := range list {
		state := table.Cell{}
		if p.InForce {
			state = table.Cell{Text: "in force", Tone: toneGood}
		}
		t.Row(table.Text(strconv.FormatInt(p.ID, 10)), table.Text(p.CreatedAt.Short(now, time.Local)), table.Text(strings.Join(p.Devices, ", ")),
			table.Text(strings.Join(p.Workloads, ", ")), table.Count(p.Runs), table.Count(p.Done), table.Count(p.Left), state)
	}
	out := a.printer()
	out.Table(&t)
	return out.Err
}

func (a *app) planFollowCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "follow PLAN",
		Short: "Take an earlier plan up again",
		Long: `Take an earlier plan up again, by its number in "sweepd plan list": it is in force
from now on, and the runs that were done for it count as before. The plan that was in
force is kept, and is taken up again in the same way.`,
		Example: "  sweepd plan follow 2",
		Args:    cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			id, err := strconv.ParseInt(args[0], 10, 64)
			if err != nil {
				return misused(fmt.Errorf("%q is no number of a plan: `sweepd plan list` lists them", args[0]))
			}
			p, err := call(cmd.Context(), a, testday.TakeUpPlan, testday.PlanRef{ID: id})
			if err != nil {
				return err
			}
			return a.printPlan(p, false)
		},
	}
}
