package main

import (
	"errors"
	"fmt"

	"github.com/spf13/cobra"

	"sweepd/report/sentence"
	"sweepd/run"
	"sweepd/testday"
)

func (a *app) importCommand() *cobra.Command {
	var lower []string
	var isNew, list, undo, again, force bool
	cmd := &cobra.Command{
		Use:   "import FILE.csv | --list | --undo [FILE] | --again [FILE]",
		Short: "Take runs over from a table",
		Long: `Take runs over from a table in CSV (or with semicolons or tabs): one row a run. Known
columns are device, workload (both needed), variant, supply, setting_w, started_at,
duration_s, package_w, system_w and those that export adds; every other numeric
column is a result named by its header. Empty means unknown. A unit may follow a number
(15W) or a heading, in brackets ("fps_mean (fps)", "duration (min)"), and decimals may
follow a comma (68,4) unless they could be thousands (1,234). Nothing is taken unless
every row is good, and importing a file again adds nothing, however it writes its
numbers.

An export that was edited corrects runs: a cell that differs from what its run is now is
a correction, if nobody corrected the run since the export (the column revision tells).
Otherwise, and without that column, nothing is taken, and each such cell is named;
--force takes them all the same. Empty cells correct nothing. A row without an id that
has device, workload and start, to the second, of a run that is here adds nothing.

--list lists imports and merges, and --undo takes the last one back, or the one whose
number or file follows: its runs are hidden, and nothing counts them. --again brings them
back; so does importing the file again, as far as its rows are the same.`,
		Example: `  sweepd import last-year.csv
  sweepd import sort-times.csv --lower seconds
  sweepd import --undo last-year.csv`,
		Args: cobra.MaximumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			switch {
			case list || undo || again:
				return a.takeImportBack(cmd, args, list, again)
			case len(args) == 0:
				return misused(errors.New("a word is missing: give the command as `sweepd import FILE.csv`"))
			}
			in, err := testday.OpenTable(cmd.Context(), args[0])
			if err != nil {
				return err
			}
			defer in.Close()
			bar := progress(a.err, 1, "importing")
			x, err := callWith(cmd.Context(), a, testday.ImportTable, testday.ImportRequest{File: args[0], Lower: lower, New: isNew, Force: force, Who: typist()}, bytesOf{in: in, progress: func(done, lines int) {
				bar.ChangeMax(lines)
				_ = bar.Set(done)
			}})
			_ = bar.Finish()
			if err != nil {
				return err
			}
			if a.json {
				return a.printJSON(x)
			}
			for _, warning := range x.Warnings {
				a.warn(warning)
			}
			corrected := ""
			if x.Corrected > 0 {
				corrected = fmt.Sprintf("; %s corrected (`sweepd run correct --undo %s` takes that back)", sentence.Counted(x.Corrected, "run"), run.ShortID(x.Correction))
			}
			_, err = fmt.Fprintf(a.out, "%s added, %d were here already%s\n", sentence.Counted(x.Added, "run"), x.Known, corrected)
			return err
		},
	}
	cmd.Flags().StringArrayVar(&lower, "lower", nil, "`NAME` of a result of which less is better (repeatable)")
	newFlag(cmd.Flags(), &isNew)
	cmd.Flags().BoolVar(&force, "force", false, "take the cells of an edited export also where a run was corrected since, or no revision tells")
	cmd.Flags().BoolVar(&list, "list", false, "list imports and merges")
	cmd.Flags().BoolVar(&undo, "undo", false, "take the last import or merge back, or the one whose number or file is given")
	cmd.Flags().BoolVar(&again, "again", false, "bring back what was taken back last, or the one whose number or file is given")
	cmd.MarkFlagsMutuallyExclusive("list", "undo", "again")
	return cmd
}
