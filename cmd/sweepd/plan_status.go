package main

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"sweepd/report/sentence"
	"sweepd/report/table"
	"sweepd/report/text"
	"sweepd/run"
	"sweepd/schedule"
	"sweepd/testday"
)

func (a *app) planStatusCommand() *cobra.Command {
	var device string
	var every, table bool
	cmd := &cobra.Command{
		Use:   "status",
		Short: "Say what of the plan is done, left and to be repeated, and when it will end",
		Long: `Say what of the plan is done, left, rejected and to be repeated, and when it is
expected to end if runs go on one after the other, as long as those so far. A run
counts as done if it is finished, not rejected, and has a result.`,
		Example: `  sweepd plan status
  sweepd plan status --every
  sweepd plan status --csv > day.csv`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			q := testday.DeviceRequest{Device: device}
			if table {
				_, err := callWith(cmd.Context(), a, testday.WritePlan, q, bytesOf{out: a.out})
				return err
			}
			p, err := call(cmd.Context(), a, testday.ShowPlan, q)
			if err != nil {
				return err
			}
			if err := a.printPlan(p, every); err != nil || a.json {
				return err
			}
			return a.printDayOf(cmd.Context())
		},
	}
	cmd.Flags().StringVar(&device, "device", "", "only what `NAME` has to do")
	cmd.Flags().BoolVar(&every, "every", false, "list every run of the plan")
	cmd.Flags().BoolVar(&table, "csv", false, "write the plan as CSV, which \"sweepd plan new\" reads")
	cmd.MarkFlagsMutuallyExclusive("csv", "every")
	return cmd
}

func (a *app) printPlan(p testday.PlanStatus, every bool) error {
	if a.json {
		return a.printJSON(p)
	}
	g := p.Progress
	out := a.printer()
	out.Say(planTitle(p), "", text.Plain)
	out.Say(progressText(g.Counts), "", text.Plain)
	if every {
		out.Table(slotTable(g))
	} else {
		out.Table(stretchTable(p))
	}
	for _, s := range g.Slots {
		for _, try := range s.Attempts {
			if s.State == schedule.Repeat {
				out.Say(fmt.Sprintf("%d. %s: run %s %s", s.Position, s.Cell, run.ShortID(try.Run), try.Why), "   ", toneDoubt)
			}
		}
	}
	if n := len(g.Outside); n > 0 {
		out.Say(fmt.Sprintf("%s since the plan was made belong to no open cell of it", sentence.Counted(n, "run")), "", toneDoubt)
	}
	if at := slices.IndexFunc(g.Slots, func(s schedule.SlotProgress) bool { return s.Position == g.Next }); at >= 0 {
		out.Say(fmt.Sprintf("next: %d. %s", g.Next, g.Slots[at].Cell), "  ", text.Plain)
	}
	return out.Err
}

func planTitle(p testday.PlanStatus) string {
	passes := 0
	for _, s := range p.Slots {
		passes = max(passes, s.Pass)
	}
	return fmt.Sprintf("plan %d of %s: %s in %s, seed %d", p.ID, p.CreatedAt.Local().Format("2006-01-02 15:04"),
		sentence.Counted(len(p.Slots), "run"), passesText(passes), p.Seed)
}

func passesText(n int) string {
	if n == 1 {
		return "1 pass"
	}
	return fmt.Sprintf("%d passes", n)
}

func progressText(g schedule.Counts) string {
	s := fmt.Sprintf("%d done, %d left", g.Done, g.Left)
	if g.Repeat > 0 {
		s += fmt.Sprintf(" (%d to be repeated)", g.Repeat)
	}
	if g.Rejected > 0 {
		s += ", " + sentence.Counted(g.Rejected, "run") + " rejected"
	}
	if g.Left > 0 {
		left := time.Duration(g.LeftS * float64(time.Second)).Round(time.Minute)
		s += fmt.Sprintf(", expected end %s (%dh%02dm)", g.ExpectedEnd.Short(time.Now(), time.Local), int(left.Hours()), int(left.Minutes())%60)
	}
	return s
}

// slotTable lists every slot.
func slotTable(g schedule.Progress) *table.Table {
	t := &table.Table{Columns: []table.Column{
		{Head: "#", Right: true}, {Head: "pass", Right: true}, {Head: "device", Least: 5, Optional: table.Terminal}, {Head: "workload", Least: 7},
		{Head: "variant", Least: 5, Optional: table.Terminal}, {Head: "setting", Right: true, Least: 7}, {Head: "supply"}, {Head: "charge", Right: true, Optional: table.Terminal},
		{Head: "state"}, {Head: "run", Optional: table.Terminal},
	}}
	oneDevice := !slices.ContainsFunc(g.Slots, func(s schedule.SlotProgress) bool { return s.Device != g.Slots[0].Device })
	for _, s := range g.Slots {
		charge := ""
		if s.NeedsCharge != nil {
			charge = fmt.Sprintf("%.0f %%", *s.NeedsCharge*100)
		}
		t.Row(table.Count(s.Position), table.Count(s.Pass), table.Text(unless(oneDevice, s.Device)), table.Text(s.Workload),
			table.Text(string(s.Variant)), table.Text(s.Setting.String()), table.Text(string(s.Supply)), table.Text(charge),
			table.Cell{Text: string(s.State), Tone: slotTone(s.State)}, table.Text(run.ShortID(s.Run)))
	}
	return t
}

func slotTone(s schedule.SlotState) text.Tone {
	switch s {
	case schedule.Done, schedule.Recording:
		return toneGood
	case schedule.Repeat:
		return toneDoubt
	}
	return text.Plain
}

// stretchTable lists the stretches: rows of slots of one level.
func stretchTable(p testday.PlanStatus) *table.Table {
	t := &table.Table{Columns: []table.Column{
		{Head: "pass", Right: true}, {Head: "runs", Right: true}, {Head: "device", Least: 5}, {Head: "level", Least: 8, Optional: table.Terminal}, {Head: "supply"},
		{Head: "charge", Right: true, Optional: table.Terminal}, {Head: "done", Right: true}, {Head: "left", Right: true}, {Head: "repeat", Right: true, Optional: table.Terminal},
	}}
	for from := 0; from < len(p.Slots); {
		to := from + 1
		for to < len(p.Slots) && p.Slots[to].Stretch == p.Slots[from].Stretch {
			to++
		}
		t.Row(stretchRow(p.Hard, p.Slots[from:to])...)
		from = to
	}
	return t
}

func stretchRow(hard []string, slots []schedule.SlotProgress) []table.Cell {
	first := slots[0]
	done, repeat := 0, 0
	for _, s := range slots {
		switch s.State {
		case schedule.Done:
			done++
		case schedule.Repeat:
			repeat++
		}
	}
	var level []string
	for _, k := range hard {
		value, _ := first.Variant.Get(k)
		level = append(level, k+"="+value)
	}
	charge := ""
	if first.NeedsCharge != nil {
		charge = fmt.Sprintf("%.0f %%", *first.NeedsCharge*100)
	}
	return []table.Cell{{Text: strconv.Itoa(first.Pass)}, {Text: strconv.Itoa(len(slots))}, {Text: first.Device}, {Text: strings.Join(level, " ")},
		{Text: string(first.Supply)}, {Text: charge}, {Text: strconv.Itoa(done)}, {Text: strconv.Itoa(len(slots) - done)},
		{Text: unless(repeat == 0, strconv.Itoa(repeat)), Tone: toneDoubt}}
}
