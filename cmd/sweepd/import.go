package main

import (
	"fmt"
	"slices"

	"github.com/spf13/cobra"

	"sweepd/report/sentence"
	"sweepd/store"
	"sweepd/store/sqlite"
	"sweepd/testday"
)

func (a *app) importCommand() *cobra.Command {
	var lower []string
	cmd := &cobra.Command{
		Use:   "import FILE.csv",
		Short: "Take runs over from a table",
		Long: `Take runs over from a table in CSV (or with semicolons or tabs): one row a run. Known
columns are device, workload (both needed), variant, supply, setting_w, started_at,
duration_s, package_w, system_w and those that export adds; every other numeric
column is a result named by its header. Empty means unknown. Nothing is taken
unless every row is good, and importing a file again adds nothing.`,
		Example: `  sweepd import last-year.csv
  sweepd import sort-times.csv --lower seconds`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			return a.withStore(sqlite.Options{}, func(s store.Store, c config) error {
				bar := progress(a.err, 1, "importing")
				x, err := testday.Import(cmd.Context(), s, args[0], slices.Concat(c.Lower, lower), func(done, lines int) {
					bar.ChangeMax(lines)
					_ = bar.Set(done)
				})
				_ = bar.Finish()
				if err != nil {
					return err
				}
				if a.json {
					return a.printJSON(x)
				}
				_, err = fmt.Fprintf(a.out, "%s added, %d were here already\n", sentence.Counted(x.Added, "run"), x.Known)
				return err
			})
		},
	}
	cmd.Flags().StringArrayVar(&lower, "lower", nil, "`NAME` of a result of which less is better (repeatable)")
	return cmd
}
