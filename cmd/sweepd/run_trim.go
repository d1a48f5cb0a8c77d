package main

import (
	"fmt"

	"github.com/spf13/cobra"

	"sweepd/run"
	"sweepd/testday"
)

func (a *app) runTrimCommand() *cobra.Command {
	var q testday.TrimRequest
	cmd := &cobra.Command{
		Use:   "trim RUN [--end TIME | --undo]",
		Short: "Let a run count up to where its load ended, or any other moment",
		Long: `Let the watts and the duration of a run be those up to a moment: by default up to where
the load ended, where the run was found idle at its end (idle_tail), else up to --end.
They are computed anew from the readings that were stored. Results and summaries stay as
they are. --undo takes it back. To count such a run whole, use "sweepd run keep".
` + whichRun,
		Example: `  sweepd run trim last
  sweepd run trim 3f9c21ab --end -12s
  sweepd run trim 3f9c21ab --undo`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			q.ID, q.Who = args[0], typist()
			d, err := call(cmd.Context(), a, testday.TrimRun, q)
			if err != nil {
				return err
			}
			if a.json {
				return a.printJSON(d)
			}
			p := a.printer()
			p.summary(d)
			return p.Err
		},
	}
	cmd.Flags().StringVar(&q.End, "end", "", "`TIME` after the start (95s), or before the end (-12s)")
	cmd.Flags().BoolVar(&q.Undo, "undo", false, "take it back: all of the run counts")
	cmd.Flags().StringVar(&q.Why, "why", "", "`TEXT` that says why")
	cmd.MarkFlagsMutuallyExclusive("end", "undo")
	return cmd
}

// trimmedText says of a run that it was trimmed, "" where it was not.
func trimmedText(r *run.Run) string {
	if r.WholeS == nil {
		return ""
	}
	return fmt.Sprintf("trimmed from %.1f s", *r.WholeS)
}
