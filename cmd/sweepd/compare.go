package main

import (
	"fmt"
	"time"

	"github.com/spf13/cobra"

	"sweepd/analysis"
	"sweepd/report/text"
	"sweepd/testday"
)

func (a *app) compareCommand() *cobra.Command {
	var f analysisFlags
	var q testday.CompareRequest
	var margin ratioFlag
	var prices pricesFlag
	by := choiceFlag{words: []string{"device", "supply", "variant"}}
	watts := []string{analysis.AtSetting, analysis.AtPackage, analysis.AtSystem}
	at, per := choiceFlag{words: watts}, choiceFlag{words: watts}
	cmd := &cobra.Command{
		Use:   "compare --by device|supply|variant",
		Short: "Say which side is ahead at which setting, and whether that is more than noise",
		Long: `Compare sides setting by setting. --by device takes names of devices, --by supply
means --a battery --b mains unless said, --by variant takes pairs such as
cores=6. Any selection may be a side, such as --a device=unit-oak,cores=6. Without
--a every level is compared with --b. Sides may differ in when their runs started:
--a since=today --b since=yesterday,until=yesterday; a side that says nothing of time
takes the runs that are not of the other.

All bounds of one comparison hold together with 95 % confidence. A side is ahead
where its bounds leave out 0; it is a tie where they lie within the margin; else it
is unclear, and more runs says how many runs each side lacks. Prices (--price, or
prices in the configuration) add what the dearer device buys.`,
		Example: `  sweepd compare --by supply
  sweepd compare --by device --a unit-oak --b unit-elm --metric fps_mean --margin 3%
  sweepd compare --by device --price unit-oak=599EUR --price unit-elm=449EUR
  sweepd compare --by variant --a cores=6 --b cores=12 --per system --json
  sweepd compare --a since=2026-05-05 --b until=2026-05-04`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			q.AnalysisRequest, q.By, q.At, q.Per, q.Margin, q.Price = f.request(), by.value, at.value, per.value, margin.pointer(), prices
			if err := testday.CheckSides(q.Question(), time.Now()); err != nil {
				return err
			}
			c, err := call(cmd.Context(), a, testday.CompareRuns, q)
			printSkipped(a.err, c.Skipped, err)
			if err != nil { // a selection that has runs has names that were seen
				a.hintNames(cmd.Context(), q.Named())
				return err
			}
			if a.json {
				return a.printJSON(c)
			}
			if err := text.Compare(a.out, c.Result(), a.terminal(a.out)); err != nil || c.Value == nil {
				return err
			}
			fmt.Fprintln(a.out)
			return text.Value(a.out, c.Value.Result(), a.terminal(a.out))
		},
	}
	f.add(cmd, true)
	cmd.Flags().Var(&by, "by", "what the sides differ in")
	// A letter of their own, for the library completes no long flag of one letter.
	cmd.Flags().StringVarP(&q.A, "a", "a", "", "`SIDE` a: a name, or pairs such as device=unit-oak,cores=6")
	cmd.Flags().StringVarP(&q.B, "b", "b", "", "`SIDE` b")
	cmd.Flags().Var(&margin, "margin", "difference that does not matter (default 2%)")
	cmd.Flags().Var(&at, "at", "compare at equal watts of this kind (default setting)")
	cmd.Flags().Var(&per, "per", "compare results per watt of this kind")
	cmd.Flags().Var(&prices, "price", "`DEVICE=AMOUNT` that a device costs, such as unit-oak=599EUR (repeatable); unless given, the configuration's prices")
	return cmd
}
