package main

import (
	"github.com/spf13/cobra"

	"sweepd/testday"
)

func (a *app) runWatchCommand() *cobra.Command {
	f := startFlags{by: testday.ByWatch}
	var from []string
	var lower resultFlags
	cmd := &cobra.Command{
		Use:   "watch [flags] -- COMMAND...",
		Short: "Record a run around a command",
		Long: `Start a run, carry out the command, stop the run when it ends: that run and no other.
The command's output passes through. Ctrl-C and other signals end the command and what
it started; one that does not end within 10 s is killed. A command that fails (any
status but 0, a signal) is the finding command_failed, with its status; the exit status
here is 1 then, whatever the command's. A result is what the brackets of a regular expression
enclose, in the last line that fits, or what a JSON path (RFC 9535) leads to in the
last JSON that has it; a unit may follow the number there.`,
		Example: `  sweepd run watch --workload tile-sort --result-from 'score=score: ([0-9.]+)' -- ./tile-sort --fast
  sweepd run watch --workload tile-sort --result-from 'score=$.summary.score' -- ./tile-sort --json`,
		Args: cobra.MinimumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			rules, err := testday.ParseOutputRules(from)
			if err != nil {
				return err
			}
			if _, err := testday.FindCommand(args[0]); err != nil {
				return err
			}
			start, _, client, err := a.start(cmd.Context(), &f)
			if err != nil {
				return err
			}
			if err := a.settleRules(cmd.Context(), rules, f.isNew); err != nil {
				return err
			}
			w := testday.Watched{Command: args, Rules: rules, Lower: lower.lower, In: a.in, Out: a.out, Err: a.err}
			if a.json { // standard output is for the JSON
				w.Out = a.err
			}
			d, err := testday.Watch(cmd.Context(), client, start, w)
			if d.ID == "" {
				return err
			}
			if failed := a.printStopped(d); failed != nil {
				return failed
			}
			a.settleResults(cmd.Context(), d, f.isNew)
			return err
		},
	}
	f.add(cmd)
	cmd.Flags().StringArrayVar(&from, "result-from", nil, "`NAME=REGEX` or NAME=$.JSON.PATH: take a result from the command's output (repeatable)")
	lower.addLower(cmd)
	return cmd
}
