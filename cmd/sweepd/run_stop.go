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
	"sweepd/run"
	"sweepd/store"
	"sweepd/store/sqlite"
	"sweepd/testday"
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

func (a *app) runStopCommand() *cobra.Command {
	var f resultFlags
	var frames framesFlags
	var isNew bool
	cmd := &cobra.Command{
		Use:   "stop [RUN]",
		Short: "Stop the run and keep it with its results",
		Long: `Stop the run and keep it with the numbers that the workload reported. The run ends
first, also where a result, a file or a flag is wrong: results can be given later, too
(sweepd run result). With RUN (any part of the id that only one run has) that run is
meant and no other is stopped: where it has ended already, it gets the results.
A unit may follow each number; 68,4 is 68.4. A file of frame times becomes results: mean
and median rate, the slowest 1 % and 0.1 % of frames by their edge (a percentile) and by
their mean, and the share of slow frames.`,
		Example: `  sweepd run stop --result fps_mean=61.3fps
  sweepd run stop --result score=10234 --result "load time=4.2 s" --lower "load time"
  sweepd run stop 3f9c21ab --frames frames.csv --frame-column frame_ms`,
		RunE: func(cmd *cobra.Command, args []string) error {
			client, err := a.client()
			if err != nil {
				return misused(err)
			}
			if slices.Contains(args, "") {
				return misused(errors.New("RUN is empty: give the id of the run to stop, or nothing for the one that is recording"))
			}
			typed := testday.TypedStop{Words: args, Results: f.results, Lower: f.lower}
			unknown := false
			for _, s := range a.slips {
				typed.Slips = append(typed.Slips, s.Slip)
				unknown = unknown || s.unknown
			}
			given, err := frames.given(cmd)
			if given {
				_, err = frames.options()
			}
			if err != nil {
				typed.Slips = append(typed.Slips, testday.Slip{Text: err.Error(), Meant: testday.MeantFrames})
			}
			var read func() (testday.FrameResults, error)
			if given {
				read = func() (r testday.FrameResults, _ error) {
					file, err := frames.open(cmd.Context(), a.in)
					if err != nil {
						return r, err
					}
					return a.readFrames(file, frames.slow)
				}
			}
			d, err := testday.StopTyped(cmd.Context(), client, typed, read)
			var ended *testday.EndedError
			if errors.As(err, &ended) { // it has the results that could be understood
				a.settleResults(cmd.Context(), ended.Run, isNew)
			}
			if err != nil && unknown {
				return misused(err)
			}
			if err != nil {
				return err
			}
			if err := a.printStopped(d); err != nil {
				return err
			}
			if results, err := testday.ParseResults(f.results, nil); err == nil {
				d.Results = results // those of frame times have names of their own
				a.settleResults(cmd.Context(), d, isNew)
			}
			return nil
		},
	}
	f.add(cmd)
	newFlag(cmd.Flags(), &isNew)
	frames.add(cmd)
	return cmd
}

func (a *app) runResultCommand() *cobra.Command {
	var f resultFlags
	var frames framesFlags
	var isNew bool
	var from string
	cmd := &cobra.Command{
		Use:   "result RUN [NAME=VALUE[UNIT]]... | result --from FILE",
		Short: "Add results to a run, or correct them",
		Long: `Add results to a run, or correct them; what they were before is kept.
` + whichRun + `

--from FILE reads a table (- is standard input): a column run, or started_at, and one
for each result, its unit in brackets: "run,fps_mean (fps),score". A start is that of
the run, within some seconds, or a time at which it was recording: 2026-05-04T09:30:00Z,
2026-05-04 09:30, or 09:30 of today. Empty cells say nothing. Each bad row is named, and
nothing is stored unless all are good. sweepd run correct --undo takes the table back.`,
		Example: `  sweepd run result 3f9c21ab fps_mean=61.3fps
  sweepd run result last "load time=4.2 s" --lower "load time"
  sweepd run result --from results.csv
  sweepd run result last --frames frames.csv --frame-column frame_ms`,
		Args: func(cmd *cobra.Command, args []string) error {
			if from != "" {
				return nil
			}
			return cobra.MinimumNArgs(1)(cmd, args)
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			if from != "" {
				if given, err := frames.given(cmd); given || err != nil {
					return misused(errors.Join(errors.New("--from and --frames: one file at a time"), err))
				}
				return a.addResultsFrom(cmd, args, from, f.lower, isNew)
			}
			results, err := testday.ParseResults(args[1:], f.lower)
			if err != nil {
				return err
			}
			given, err := frames.given(cmd)
			if err != nil {
				return err
			}
			if !given && len(results) == 0 {
				return misused(errors.New("run result needs NAME=VALUE, or --frames FILE"))
			}
			use, err := a.settle(cmd.Context(), testday.NamedInResults(results), isNew, args[0])
			if err != nil {
				return err
			}
			for _, d := range use {
				results = d.InResults(results)
			}
			var framed *testday.FrameResults
			if given {
				file, err := frames.open(cmd.Context(), a.in)
				if err != nil {
					return err
				}
				r, err := a.readFrames(file, frames.slow)
				if err != nil {
					return err
				}
				maps.Copy(r.Results, results)
				results, framed = r.Results, &r
			}
			before, err := call(cmd.Context(), a, testday.ShowRun, testday.RunRequest{ID: args[0]})
			if err != nil {
				return err
			}
			d, err := a.giveResults(cmd.Context(), before.ID, results, framed)
			if err := a.printCorrection(d, err); err != nil || a.json {
				return err
			}
			return a.printGiven(before.Record, d, framed)
		},
	}
	f.addLower(cmd)
	cmd.Flags().StringVar(&from, "from", "", "`FILE` with a table of results of many runs; - is standard input")
	newFlag(cmd.Flags(), &isNew)
	frames.add(cmd)
	return cmd
}

func (a *app) runRejectCommand() *cobra.Command { return a.decisionCommand(run.Reject) }
func (a *app) runKeepCommand() *cobra.Command   { return a.decisionCommand(run.Keep) }

// whichRun says in the help of commands what names a run.
const whichRun = `RUN is any part of the id that only one run has, or "last": the run that was recorded
last into this data folder, never one that was imported or merged, whatever its time.`

// decisionCommand is reject or keep, which differ in words only.
func (a *app) decisionCommand(what run.Decision) *cobra.Command {
	var why string
	var undo bool
	cmd := &cobra.Command{
		Use:     string(what) + " RUN --why TEXT",
		Short:   "Set a run aside: it stays, and no comparison counts it",
		Example: `  sweepd run reject 3f9c21ab --why "an update ran in the background"`,
		Args:    cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			decision := what
			if undo {
				decision = run.Unkeep
			}
			if !undo && !cmd.Flags().Changed("why") {
				return misused(fmt.Errorf("run %s needs --why TEXT, or --undo", what))
			}
			if err := testday.CheckReason(decision, why); err != nil {
				return fmt.Errorf("--why: %w", err)
			}
			return a.printCorrection(a.correct(cmd.Context(), func(s store.Store, _ config) (run.Record, error) {
				return testday.Decide(cmd.Context(), s, args[0], decision, why, time.Now())
			}, func(c *console.Client) (run.Record, error) {
				return c.Decide(cmd.Context(), args[0], decision, why)
			}))
		},
	}
	cmd.Flags().StringVar(&why, "why", "", "`TEXT` that says why")
	if what != run.Keep {
		cmd.Long = cmd.Short + ".\n" + whichRun
		_ = cmd.MarkFlagRequired("why")
		cmd.Annotations = map[string]string{insteadOf + "undo": "`sweepd run keep RUN --why TEXT` has the run count again"}
		return cmd
	}
	cmd.Use = "keep RUN (--why TEXT | --undo)"
	cmd.Short = "Count a run that was rejected or interrupted, or all of one that was idle at its end"
	cmd.Long = `Count a run that would not count as it is, and say why:
  rejected, by a finding or by hand: it counts again;
  interrupted, because its agent ended: it counts up to its last stored sweep, carries
    the finding kept_interrupted, and takes a result as any other run does;
  idle at its end (idle_tail): all of it counts. "sweepd run trim" cuts the idle part off.

--undo takes the last keeping back. To set a run aside, use "sweepd run reject".

` + whichRun
	cmd.Example = `  sweepd run keep 3f9c21ab --why "the charger was plugged in after the last frame"
  sweepd run keep last --why "the workload had ended when the agent did"
  sweepd run keep last --undo`
	cmd.Flags().BoolVar(&undo, "undo", false, "take the last keeping back: the run is again as it was before")
	cmd.MarkFlagsMutuallyExclusive("why", "undo")
	return cmd
}

// giveResults gives a run results, and gives it as it is then.
func (a *app) giveResults(ctx context.Context, id string, list testday.Results, framed *testday.FrameResults) (run.Record, error) {
	return a.correct(ctx, func(s store.Store, c config) (run.Record, error) {
		rules := testday.ResultRules{Lower: c.Lower, FramesShort: c.Thresholds.FramesShort}
		return testday.Correct(ctx, s, id, list, framed, rules, typist(), time.Now())
	}, func(c *console.Client) (run.Record, error) {
		return c.Correct(ctx, id, list, framed, typist())
	})
}

// correct changes the data itself, or has the agent do it, and gives the run as it is
// then. Where that fails while an agent keeps runs that it could not store either, the
// agent is asked to.
func (a *app) correct(ctx context.Context, change func(store.Store, config) (run.Record, error), atAgent func(*console.Client) (run.Record, error)) (d run.Record, err error) {
	at, err := a.whom(ctx)
	if err != nil {
		return d, err
	}
	if at.agent != nil {
		d, err = atAgent(at.agent)
		return d, a.explainRefusal(at, err)
	}
	err = a.withStore(sqlite.Options{}, func(s store.Store, c config) (err error) {
		if d, err = change(s, c); err != nil {
			return err
		}
		return testday.MarkUnlike(ctx, s, d.Run, c.Thresholds.forJudge(), time.Now())
	})
	var request *testday.RequestError
	if err == nil {
		a.tellAgent(ctx, d.ID)
	} else if client, kept := a.unstored(ctx); len(kept) > 0 && !errors.As(err, &request) {
		d, err = atAgent(client)
	}
	if err == nil && d.State == run.Recording {
		d = testday.AsEnded(d, a.endedRuns(ctx))
	}
	return d, err
}

// printCorrection prints a run as it is after a change, or hands the error on.
func (a *app) printCorrection(d run.Record, err error) error {
	if err != nil {
		return err
	}
	if a.json {
		return a.printJSON(d)
	}
	_, err = fmt.Fprintf(a.shown(), "run %s: %s, %s\n", run.ShortID(d.ID), stateText(d.Run), resultsText(d.Results))
	return err
}

// agentWait is how long a command waits for an agent that may not be there.
const agentWait = 500 * time.Millisecond

// tellAgent has a running agent, if there is one, follow a change of the data.
func (a *app) tellAgent(ctx context.Context, id string) {
	client, err := a.client()
	if err != nil {
		return
	}
	ctx, cancel := context.WithTimeout(ctx, agentWait)
	defer cancel()
	_ = client.Changed(ctx, id) // without an agent there is nobody to tell
}

// busyAgentWait is how long a command waits for an agent that is there, but has much to
// do: it tries to store what it could not.
const busyAgentWait = 5 * time.Second

// unstored are the runs that have ended and that an agent, if there is one, could not
// store so far.
func (a *app) unstored(ctx context.Context) (*console.Client, []run.Run) {
	client, err := a.client()
	if err != nil {
		return nil, nil
	}
	ctx, cancel := context.WithTimeout(ctx, busyAgentWait)
	defer cancel()
	status, _ := client.Status(ctx) // without an agent there are none
	client.Holder = status.Holder
	return client, status.Unstored
}
