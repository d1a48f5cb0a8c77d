package main

import (
	"errors"

	"github.com/spf13/cobra"

	"sweepd/analysis"
	"sweepd/report/text"
)

func (a *app) compareCommand() *cobra.Command {
	var f analysisFlags
	var q analysis.CompareRequest
	var margin share
	by := choice{words: []string{"device", "supply", "variant"}}
	watts := []string{analysis.AtSetting, analysis.AtPackage, analysis.AtSystem}
	at, per := choice{words: watts}, choice{words: watts}
	cmd := &cobra.Command{
		Use:   "compare --by device|supply|variant",
		Short: "Say which side is ahead at which setting, and whether that is more than noise",
		Long: `Compare sides setting by setting. --by device takes names of devices, --by supply
means --a battery --b mains unless said, --by variant takes pairs such as
cores=6. Any selection may be a side, such as --a device=unit-oak,cores=6. Without
--a every level is compared with --b.`,
		Example: `  sweepd compare --by supply
  sweepd compare --by device --a unit-oak --b unit-elm --metric fps_mean --margin 3%
  sweepd compare --by variant --a cores=6 --b cores=12 --per system --json`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if by.value == "" && (q.A == "" || q.B == "") {
				return misused(errors.New("compare what? Give --by device, supply or variant, or both sides (--a, --b)"))
			}
			for _, side := range []string{q.A, q.B} {
				if side == "" {
					continue
				}
				if _, err := analysis.ParseSelection(by.value, side); err != nil {
					return misused(err)
				}
			}
			runs, err := a.selectRuns(cmd.Context(), &f)
			if err != nil {
				return err
			}
			q.By, q.At, q.Per, q.Metric, q.Margin, q.Declared = by.value, at.value, per.value, f.metric, margin.pointer(), f.noise.value
			result, err := analysis.Compare(runs, q)
			if err != nil {
				return err
			}
			if a.json {
				return a.printJSON(result)
			}
			return text.Compare(a.out, result, a.look(a.out))
		},
	}
	f.add(cmd, true)
	cmd.Flags().Var(&by, "by", "what the sides differ in")
	cmd.Flags().StringVar(&q.A, "a", "", "`SIDE` a: a name, or pairs such as device=unit-oak,cores=6")
	cmd.Flags().StringVar(&q.B, "b", "", "`SIDE` b")
	cmd.Flags().Var(&margin, "margin", "difference that does not matter (default 2%)")
	cmd.Flags().Var(&at, "at", "compare at equal watts of this kind (default setting)")
	cmd.Flags().Var(&per, "per", "compare results per watt of this kind")
	return cmd
}
