package main

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"slices"
	"time"

	"github.com/spf13/cobra"

	"sweepd/console"
	"sweepd/report/text"
	"sweepd/run"
)

// resultFlags are results on a command line.
type resultFlags struct {
	results, lower []string
}

func (f *resultFlags) add(cmd *cobra.Command) {
	cmd.Flags().StringArrayVar(&f.results, "result", nil, "`NAME=VALUE[UNIT]`: a number that the workload reported (repeatable)")
	f.addLower(cmd)
}

func (f *resultFlags) addLower(cmd *cobra.Command) {
	cmd.Flags().StringArrayVar(&f.lower, "lower", nil, "`NAME` of a result of which less is better (repeatable)")
}

// messages are the results as the agent takes them.
func (f *resultFlags) messages(texts []string) (map[string]console.ResultMessage, error) {
	list, err := console.ParseResults(texts, f.lower)
	return list, misused(err)
}

func (a *app) runStopCommand() *cobra.Command {
	var f resultFlags
	var frames framesFlags
	cmd := &cobra.Command{
		Use:   "stop",
		Short: "Stop the run and keep it with its results",
		Long: `Stop the run and keep it with the numbers that the workload reported. A unit may
follow each number. Results can be given later, too (sweepd run result). A file of
frame times becomes results: mean and median rate, the slowest 1 % and 0.1 % of
frames by their edge (a percentile) and by their mean, and the share of slow frames.`,
		Example: `  sweepd run stop --result fps_mean=61.3fps
  sweepd run stop --result score=10234 --result "load time=4.2 s" --lower "load time"
  sweepd run stop --frames frames.csv --frame-column frame_ms`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			results, err := f.messages(f.results)
			if err != nil {
				return err
			}
			client, err := a.client()
			if err != nil {
				return misused(err)
			}
			var file *frameFile
			if given, err := frames.given(cmd); err != nil {
				return err
			} else if given {
				if file, err = frames.open(a.in); err != nil {
					return fmt.Errorf("the run goes on: %w", err)
				}
			}
			d, err := client.StopRun(cmd.Context(), console.StopRequest{Results: results})
			if err == nil && file != nil {
				d, err = a.addFrames(cmd.Context(), client, d, file, frames.slow)
			}
			if err != nil {
				return err
			}
			return a.printStopped(d)
		},
	}
	f.add(cmd)
	frames.add(cmd)
	return cmd
}

// addFrames gives a run that has just been stopped the results of its frame times.
func (a *app) addFrames(ctx context.Context, client *console.Client, d run.Record, file *frameFile, slow time.Duration) (run.Record, error) {
	q, err := a.framesRequest(file, slow)
	if err == nil {
		d, err = client.AddResults(ctx, d.ID, q)
	}
	if err != nil {
		err = fmt.Errorf("run %s is stopped and kept, but without its frame times (give them with `sweepd run result %[1]s --frames FILE`): %w", text.ShortID(d.ID), err)
	}
	return d, err
}

func (a *app) runResultCommand() *cobra.Command {
	var f resultFlags
	var frames framesFlags
	cmd := &cobra.Command{
		Use:   "result RUN [NAME=VALUE[UNIT]]...",
		Short: "Add results to a run, or correct them",
		Long:  `Add results to a run, or correct them; what they were before is kept. RUN is any part of the id that only one run has, or "last".`,
		Example: `  sweepd run result 3f9c21ab fps_mean=61.3fps
  sweepd run result last "load time=4.2 s" --lower "load time"
  sweepd run result last --frames frames.csv --frame-column frame_ms`,
		Args: cobra.MinimumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			results, err := f.messages(args[1:])
			if err != nil {
				return err
			}
			given, err := frames.given(cmd)
			if err != nil {
				return err
			}
			change := console.Amendment{Results: results}
			if !given && len(results) == 0 {
				return misused(errors.New("run result needs NAME=VALUE, or --frames FILE"))
			}
			if given {
				file, err := frames.open(a.in)
				if err != nil {
					return err
				}
				q, err := a.framesRequest(file, frames.slow)
				if err != nil {
					return err
				}
				maps.Copy(q.Results, results)
				change.Results, change.FramesS = q.Results, q.FramesS
			}
			return a.amend(cmd.Context(), args[0], change)
		},
	}
	f.addLower(cmd)
	frames.add(cmd)
	return cmd
}

func (a *app) runRejectCommand() *cobra.Command { return a.decisionCommand(run.Reject) }
func (a *app) runKeepCommand() *cobra.Command   { return a.decisionCommand(run.Keep) }

// decisionCommand is reject or keep, which differ in words only.
func (a *app) decisionCommand(what run.Decision) *cobra.Command {
	var why string
	cmd := &cobra.Command{
		Use:     string(what) + " RUN --why TEXT",
		Short:   "Set a run aside: it stays, and no comparison counts it",
		Example: `  sweepd run reject 3f9c21ab --why "an update ran in the background"`,
		Args:    cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := run.CheckLabel("reason", why); err != nil {
				return misused(fmt.Errorf("--why: %w", err))
			}
			return a.amend(cmd.Context(), args[0], console.Amendment{Decision: what, Why: why})
		},
	}
	if what == run.Keep {
		cmd.Short = "Count a run again that was rejected, by a finding or by hand"
		cmd.Example = `  sweepd run keep 3f9c21ab --why "the charger was plugged in after the last frame"`
	}
	cmd.Flags().StringVar(&why, "why", "", "`TEXT` that says why")
	_ = cmd.MarkFlagRequired("why")
	return cmd
}

// sortedNames are the names of a map in the order of the alphabet.
func sortedNames[V any](m map[string]V) []string {
	names := make([]string, 0, len(m))
	for name := range m {
		names = append(names, name)
	}
	slices.Sort(names)
	return names
}
