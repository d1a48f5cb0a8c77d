package main

import (
	"errors"
	"fmt"
	"slices"

	"github.com/spf13/cobra"

	"sweepd/analysis"
	"sweepd/report/sentence"
	"sweepd/report/text"
)

func (a *app) compareCommand() *cobra.Command {
	var f analysisFlags
	var q analysis.CompareRequest
	var margin share
	var prices priceList
	by := choice{words: []string{"device", "supply", "variant"}}
	watts := []string{analysis.AtSetting, analysis.AtPackage, analysis.AtSystem}
	at, per := choice{words: watts}, choice{words: watts}
	cmd := &cobra.Command{
		Use:   "compare --by device|supply|variant",
		Short: "Say which side is ahead at which setting, and whether that is more than noise",
		Long: `Compare sides setting by setting. --by device takes names of devices, --by supply
means --a battery --b mains unless said, --by variant takes pairs such as
cores=6. Any selection may be a side, such as --a device=unit-oak,cores=6. Without
--a every level is compared with --b.

All bounds of one comparison hold together with 95 % confidence. A side is ahead
where its bounds leave out 0; it is a tie where they lie within the margin; else it
is unclear, and more runs says how many runs each side lacks. Prices (--price, or
prices in the configuration) add what the dearer device buys.`,
		Example: `  sweepd compare --by supply
  sweepd compare --by device --a unit-oak --b unit-elm --metric fps_mean --margin 3%
  sweepd compare --by device --price unit-oak=599EUR --price unit-elm=449EUR
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
			selected, err := a.selectRuns(cmd.Context(), &f)
			if err != nil {
				return err
			}
			q.By, q.At, q.Per, q.Metric, q.Margin, q.Declared = by.value, at.value, per.value, f.metric, margin.pointer(), f.noise.value
			result, err := analysis.Compare(selected.runs, q)
			if err != nil {
				return err
			}
			value, err := worth(result, prices.or(selected.config.Prices))
			if err != nil {
				return err
			}
			if a.json {
				return a.printJSON(struct {
					sentence.CompareJSON
					Value *sentence.ValueJSON `json:"value"`
				}{sentence.CompareAsJSON(result), sentence.ValueAsJSON(value)})
			}
			if err := text.Compare(a.out, result, a.terminal(a.out)); err != nil || value == nil {
				return err
			}
			fmt.Fprintln(a.out)
			return text.Value(a.out, *value, a.terminal(a.out))
		},
	}
	f.add(cmd, true)
	cmd.Flags().Var(&by, "by", "what the sides differ in")
	cmd.Flags().StringVar(&q.A, "a", "", "`SIDE` a: a name, or pairs such as device=unit-oak,cores=6")
	cmd.Flags().StringVar(&q.B, "b", "", "`SIDE` b")
	cmd.Flags().Var(&margin, "margin", "difference that does not matter (default 2%)")
	cmd.Flags().Var(&at, "at", "compare at equal watts of this kind (default setting)")
	cmd.Flags().Var(&per, "per", "compare results per watt of this kind")
	cmd.Flags().Var(&prices, "price", "`DEVICE=AMOUNT` that a device costs, such as unit-oak=599EUR (repeatable); unless given, the configuration's prices")
	return cmd
}

// worth sets a comparison of devices against their prices; nil without prices, or
// where one device is compared with itself.
func worth(r analysis.CompareResult, prices analysis.Prices) (*analysis.ValueResult, error) {
	between := slices.ContainsFunc(r.Comparisons, func(c analysis.Comparison) bool { return c.Device == nil })
	if len(prices.ByDevice) == 0 || !between {
		return nil, nil
	}
	value, err := analysis.Value(r, prices)
	return &value, err
}
