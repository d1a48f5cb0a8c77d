package main

import (
	"errors"
	"io"
	"time"

	"github.com/spf13/cobra"

	"sweepd/testday"
)

func (a *app) exportCommand() *cobra.Command {
	var f filterFlags
	var out string
	var plain bool
	as := choiceFlag{words: []string{testday.CSV, testday.JSON}}
	cmd := &cobra.Command{
		Use:   "export --as csv|json --out PATH",
		Short: "Write runs to a file for other programs",
		Long: `Write runs to a file for other programs: csv is the tidy table, one row a run, that
import takes back without loss; json holds summaries, discharge, findings and facts
as well. PATH is made anew whole, or not at all; a link is followed, a pipe or a device
is written to, - is standard output.

A spreadsheet takes a cell that begins with = + - @ for a formula, so a text that does
gets an apostrophe before it, which import takes off again. --plain leaves it out, for
programs that take no cell for a formula. Numbers are never changed.`,
		Example: `  sweepd export --as csv --out day.csv
  sweepd export --as json --workload harbour-flight --out -`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if as.value == "" || out == "" {
				return misused(errors.New("export needs --as csv or json, and --out PATH (- for standard output)"))
			}
			if plain && as.value != testday.CSV {
				return misused(errors.New("--plain is about tables: give it with --as csv"))
			}
			q := testday.ExportRequest{FilterRequest: f.request(), Plain: plain}
			if _, err := q.Filter(time.Now()); err != nil {
				return err
			}
			any := q.FilterRequest
			any.Last = 1
			some, err := call(cmd.Context(), a, testday.ListRuns, any)
			if err != nil {
				return err
			}
			if len(some) == 0 {
				a.hintNames(cmd.Context(), q.Named())
				return errors.New("nothing was written: " + noRuns(q.FilterRequest))
			}
			write := func(w io.Writer) (err error) {
				if as.value == testday.CSV {
					_, err = callWith(cmd.Context(), a, testday.ExportTable, q, bytesOf{out: w})
				} else {
					_, err = callWith(cmd.Context(), a, testday.ExportRecords, q.FilterRequest, bytesOf{out: w})
				}
				return err
			}
			if out == "-" {
				return write(a.out)
			}
			return testday.WriteFile(cmd.Context(), out, write)
		},
	}
	f.add(cmd)
	cmd.Flags().Var(&as, "as", "format")
	cmd.Flags().StringVar(&out, "out", "", "`PATH` to write to")
	cmd.Flags().BoolVar(&plain, "plain", false, "with --as csv: write texts as they are, also those that a spreadsheet takes for a formula")
	return cmd
}
