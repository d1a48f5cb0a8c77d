package main

import (
	"errors"
	"fmt"
	"time"

	"github.com/spf13/cobra"

	"sweepd/report/sentence"
	"sweepd/report/text"
	"sweepd/testday"
)

func (a *app) planExtendCommand() *cobra.Command {
	var repeats, most int
	var f analysisFlags
	var q testday.ExtendRequest
	var margin ratioFlag
	by := choiceFlag{words: []string{"device", "supply", "variant"}}
	cmd := &cobra.Command{
		Use:   "extend --repeats N | --by device|supply|variant",
		Short: "Append passes to the plan: over all cells, or where a comparison cannot tell yet",
		Long: `Append passes to the plan. --repeats adds them over all cells. --by compares the
runs so far, as "sweepd compare" does, and adds as many runs of the cells on both
sides as it takes to tell where it cannot tell yet, but at most --most of each; one
where nothing was repeated, for two runs tell the noise.`,
		Example: `  sweepd plan extend --repeats 1
  sweepd plan extend --by supply --metric fps_mean --most 4`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			compare := by.value != "" || q.A != "" && q.B != ""
			if compare == (repeats != 0) {
				return misused(errors.New("give --repeats N, or --by device, supply or variant: one of them"))
			}
			if repeats < 0 || most < 1 {
				return misused(errors.New("--repeats and --most are numbers from 1"))
			}
			q.AnalysisRequest, q.By, q.Margin, q.Repeats, q.Most = f.request(), by.value, margin.pointer(), repeats, most
			if _, err := q.Filter(time.Now()); err != nil {
				return err
			}
			x, err := call(cmd.Context(), a, testday.ExtendPlan, q)
			if err != nil {
				return err
			}
			return a.printExtension(x)
		},
	}
	f.add(cmd, true)
	cmd.Flags().IntVar(&repeats, "repeats", 0, "`N` more passes over all cells")
	cmd.Flags().Var(&by, "by", "what the sides of the comparison differ in")
	cmd.Flags().StringVarP(&q.A, "a", "a", "", "`SIDE` a of the comparison")
	cmd.Flags().StringVarP(&q.B, "b", "b", "", "`SIDE` b")
	cmd.Flags().Var(&margin, "margin", "difference that does not matter (default 2%)")
	cmd.Flags().IntVar(&most, "most", 3, "`N` more runs of each cell at most")
	return cmd
}

func (a *app) printExtension(x testday.ExtensionJSON) error {
	if a.json {
		return a.printJSON(x)
	}
	out := a.printer()
	switch {
	case x.Added > 0:
		out.Say(fmt.Sprintf("%s added, of %s; %s", sentence.Counted(x.Added, "run"), sentence.Counted(x.Cells, "cell"),
			progressText(x.Progress)), "  ", text.Plain)
	case x.Cells > 0:
		out.Say("nothing was added: the plan is as long as a plan may be", "  ", toneDoubt)
	case x.Flagged > 0 || x.Outside > 0:
		out.Say("nothing was added:", "  ", toneDoubt)
	default:
		out.Say("nothing was added: the comparison can tell at every setting", "  ", text.Plain)
	}
	for _, c := range x.Unlike {
		out.Say(fmt.Sprintf("%s: a run unlike its repeats stands in the way; look at it with `sweepd compare`, and reject or keep it", c), "  ", toneDoubt)
	}
	if x.Outside > 0 {
		out.Say(fmt.Sprintf("at %s the comparison cannot tell, but the plan has no such cell", sentence.Counted(x.Outside, "setting")), "  ", toneDoubt)
	}
	return out.Err
}
