package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"time"

	"github.com/spf13/cobra"

	"sweepd/console"
	"sweepd/report/text"
)

func (a *app) runWatchCommand() *cobra.Command {
	var f startFlags
	var from []string
	var lower resultFlags
	cmd := &cobra.Command{
		Use:   "watch [flags] -- COMMAND...",
		Short: "Record a run around a command",
		Long: `Start a run, carry out the command, stop the run when it ends. The command's
output passes through. A result is what the brackets of a regular expression
enclose, in the last line that fits, or what a JSON path (RFC 9535) leads to in the
last JSON that has it; a unit may follow the number there.`,
		Example: `  sweepd run watch --workload tile-sort --setting 25W --result-from 'score=total score: ([0-9.]+)' -- ./tile-sort --fast
  sweepd run watch --workload tile-sort --result-from 'score=$.summary.score' -- ./tile-sort --json`,
		Args: cobra.MinimumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			scan, err := console.NewResultScanner(from)
			if err != nil {
				return misused(err)
			}
			q, _, client, err := a.startRequest(cmd.Context(), &f)
			if err != nil {
				return err
			}
			program, err := exec.LookPath(args[0])
			if err != nil {
				return fmt.Errorf("command %q cannot be started: %w", args[0], err)
			}
			run, err := client.StartRun(cmd.Context(), q)
			if err != nil {
				return err
			}
			failed := a.carryOut(cmd.Context(), program, args, scan)
			// Whatever became of the command, the run is stopped.
			results, missing := scan.Results()
			for name, m := range results {
				m.Better = console.Explicit(name, lower.lower)
				results[name] = m
			}
			d, err := client.StopRun(context.WithoutCancel(cmd.Context()), console.StopRequest{Results: results, Note: failure(failed)})
			if err != nil {
				return errors.Join(fmt.Errorf("run %s could not be stopped: %w", text.ShortID(run.ID), err), failed)
			}
			if err := a.printStopped(d); err != nil {
				return err
			}
			if failed != nil {
				failed = fmt.Errorf("%w; run %s is kept: reject it if it does not count", failed, text.ShortID(run.ID))
			}
			return errors.Join(failed, missing)
		},
	}
	f.add(cmd)
	cmd.Flags().StringArrayVar(&from, "result-from", nil, "`NAME=REGEX` or NAME=$.JSON.PATH: take a result from the command's output (repeatable)")
	lower.addLower(cmd)
	return cmd
}

// failure is the note of a run whose command failed.
func failure(err error) string {
	if err == nil {
		return ""
	}
	return err.Error()
}

// killDelay is how long a command may take to end once it was asked to.
const killDelay = 10 * time.Second

// carryOut runs the command and shows the scanner what it prints. Where the
// context ends, the command is asked to end, too.
func (a *app) carryOut(ctx context.Context, program string, args []string, scan *console.ResultScanner) error {
	c := exec.CommandContext(ctx, program, args[1:]...)
	c.Args[0] = args[0]
	c.Stdin = a.in
	out := a.out
	if a.json { // standard output is for the JSON
		out = a.err
	}
	c.Stdout = io.MultiWriter(out, scan.Stream())
	c.Stderr = io.MultiWriter(a.err, scan.Stream())
	c.Cancel = func() error { return c.Process.Signal(os.Interrupt) }
	c.WaitDelay = killDelay
	if err := c.Run(); err != nil {
		return fmt.Errorf("command %s: %w", args[0], err)
	}
	return nil
}
