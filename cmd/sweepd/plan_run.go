package main

import (
	"cmp"
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"path/filepath"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"sweepd/actuators"
	"sweepd/console"
	"sweepd/report/text"
	"sweepd/run"
	"sweepd/testday"
)

// planRunFlags are those of `plan run`.
type planRunFlags struct {
	dry, consent, retry, noRunner bool
	runner                        runnerFlags
}

func (a *app) planRunCommand() *cobra.Command {
	var f planRunFlags
	cmd := &cobra.Command{
		Use:   "run",
		Short: "Have the agent do the plan by itself, guarded: a day without hands",
		Long: `Have the agent do the plan by itself: it waits until the device is fit, sets what the
next runs need within the limits of the configuration (hands_off:), verifies it, has the
workload's command (workloads:) carried out, judges the run, repeats what does not count,
and goes on. Where a hand is needed, this terminal and the page say so, and it goes on
once that is done. Stay in reach of the device all the same.

The day is the agent's: it goes on when this command ends. This command shows it, and
carries out the workloads in this terminal as this user, unless another runner is there
("sweepd plan runner") or with --no-runner. Typed while a day goes on, it shows that one.
Where its terminal is closed it goes on to carry them out until the day is over, or another
runner comes. With Ctrl-C it asks what becomes of the day; where it is told to end (SIGTERM)
or killed, the run in progress is ended and the day waits for a runner.

On a device that sweepd has not set before, somebody has to agree to the cautions once:
at a terminal you are asked, elsewhere give --consent. --dry-run says what would be
written where, with the present values, and writes nothing. --json says how the day stands
once it is begun, and ends then.`,
		Example: `  sweepd plan run --dry-run
  sweepd plan run
  sweepd plan run --no-runner                      where "sweepd plan runner" runs already`,
		Args:        cobra.NoArgs,
		Annotations: instead("now", "`sweepd plan stop --now` ends a day at once", "yes", "--consent agrees to the cautions", "force", "--consent agrees to the cautions"),
		RunE: func(cmd *cobra.Command, _ []string) error {
			at, err := a.dayAgent(cmd.Context())
			if err != nil {
				return err
			}
			if f.dry {
				return a.dryRun(cmd.Context(), at, f)
			}
			err = a.planRun(cmd.Context(), at, f)
			var right *console.NoRightError
			if errors.As(err, &right) && f.carries(a) {
				return fmt.Errorf("%w: %s", err, howToRunWorkloads(right.Holder))
			}
			return a.explainRefusal(at, err)
		},
	}
	cmd.Flags().BoolVar(&f.dry, "dry-run", false, "say what would be written where, with the present values; write nothing")
	cmd.Flags().BoolVar(&f.consent, "consent", false, "agree to the cautions, for a device that sweepd has not set before")
	cmd.Flags().BoolVar(&f.retry, "retry-skipped", false, "take up again what was skipped before")
	cmd.Flags().BoolVar(&f.noRunner, "no-runner", false, "carry out no workloads here: another runner does")
	f.runner.add(cmd)
	return cmd
}

// carries tells whether workloads are carried out here.
func (f planRunFlags) carries(a *app) bool { return !f.noRunner && !a.json }

// instead are annotations that say what to do instead of flags that a command lacks: a
// flag, a sentence, and so on.
func instead(pairs ...string) map[string]string {
	m := map[string]string{}
	for i := 0; i < len(pairs); i += 2 {
		m[insteadOf+pairs[i]] = pairs[i+1]
	}
	return m
}

// dayAgent is the agent that does its plan by itself, whatever folder was named: only a
// running one can.
func (a *app) dayAgent(ctx context.Context) (at respondent, err error) {
	if at.agent, err = a.client(); err != nil {
		return at, misused(err)
	}
	wait, cancel := context.WithTimeout(ctx, busyAgentWait)
	defer cancel()
	if at.status, err = at.agent.Status(wait); err != nil {
		return at, err
	}
	at.agent.Holder = at.status.Holder
	at.folder, at.from = at.status.Data, fromAgent
	return at, nil
}

// goesOn tells whether a day does.
func goesOn(d testday.HandsOff) bool { return d.State != testday.Idle && d.State != testday.Over }

// planRun begins a day, where none goes on, and shows it.
func (a *app) planRun(ctx context.Context, at respondent, f planRunFlags) error {
	carries := f.carries(a)
	if carries && at.agent.Bearer != "" {
		return misused(errors.New("the agent is on another machine, and workloads are carried out on its device itself: give --no-runner here, and type `sweepd plan runner` there"))
	}
	if carries {
		if err := f.runner.check(); err != nil {
			return fmt.Errorf("%w; or give --no-runner, where another runner carries them out", err)
		}
		if err := a.trusts(at); err != nil {
			return err
		}
		// Whether this user may carry out workloads is asked before anything begins.
		if _, err := at.agent.RunnerBeat(ctx, testday.Beat{Runner: rand.Text(), Leaves: true}); err != nil {
			return err
		}
	}
	day, err := at.agent.HandsOff(ctx)
	if err != nil {
		return err
	}
	if goesOn(day) {
		fmt.Fprintln(run.VisibleWriter{To: a.err}, a.terminal(a.err).Wrap(fmt.Sprintf("a day goes on already, since %s, by %s: this shows it", clockOf(day.BegunAt), day.By), "  "))
	} else if day, err = a.begin(ctx, at, f); err != nil {
		return err
	}
	if a.json {
		return a.printJSON(day)
	}
	return a.follow(ctx, at, carries, f.runner)
}

// by is what asks for something of the day, with who typed it.
func byTyped(command string) string {
	if who := typist(); who != "" && run.CheckLabel("user", who) == nil {
		return command + " (" + who + ")"
	}
	return command
}

// begin begins a day, and asks for consent where nobody gave it yet.
func (a *app) begin(ctx context.Context, at respondent, f planRunFlags) (testday.HandsOff, error) {
	q := testday.BeginHandsOff{Consent: f.consent, By: byTyped(testday.ByPlanRun), Retry: f.retry}
	day, err := at.agent.BeginHandsOff(ctx, q)
	var lacks *testday.ConsentError
	if !errors.As(err, &lacks) {
		return day, err
	}
	out := run.VisibleWriter{To: a.err}
	fmt.Fprintf(out, "sweepd has not set the power of %s by itself before. Read this first:\n", lacks.Device)
	a.sayCautions(lacks.Cautions)
	agreed, asked := a.ask(fmt.Sprintf("Do you agree that sweepd sets the power of %s by itself, and stay in reach?", lacks.Device))
	switch {
	case !asked:
		return day, fmt.Errorf("nobody has agreed yet that sweepd sets the power of %s by itself, so nothing was begun: read the cautions, then begin with --consent", lacks.Device)
	case !agreed:
		return day, errors.New("nobody agreed, so nothing was begun and nothing was set; `sweepd plan run --dry-run` says what would be")
	}
	q.Consent = true
	return at.agent.BeginHandsOff(ctx, q)
}

func (a *app) sayCautions(list []string) {
	terminal := a.terminal(a.err)
	for _, c := range list {
		fmt.Fprintln(run.VisibleWriter{To: a.err}, terminal.Wrap("- "+c, "  "))
	}
}

// clockOf is a time of the clock, with the day where that is not today's.
func clockOf(t *run.Timestamp) string {
	if t == nil {
		return "an unknown time"
	}
	return t.Short(time.Now(), time.Local)
}

// dryRun says what a day would do.
func (a *app) dryRun(ctx context.Context, at respondent, f planRunFlags) error {
	d, err := at.agent.DryRunHandsOff(ctx, testday.BeginHandsOff{Retry: f.retry, By: testday.ByPlanRun})
	if err != nil {
		return a.explainRefusal(at, err)
	}
	if a.json {
		return a.printJSON(d)
	}
	return a.printDryRun(d, f)
}

// handsOffNow is how the day without hands stands for commands that tell of other things,
// too; nil where none goes on or nobody knows.
func (a *app) handsOffNow(ctx context.Context, client *console.Client) *testday.HandsOff {
	if client == nil {
		return nil
	}
	ctx, cancel := context.WithTimeout(ctx, agentWait)
	defer cancel()
	d, err := client.HandsOff(ctx)
	if err != nil || !goesOn(d) {
		return nil
	}
	return &d
}

// dayHere is how the day without hands stands of the agent that keeps the data which this
// command is about; nil where nobody knows, or nothing of that kind is.
func (a *app) dayHere(ctx context.Context) *testday.HandsOff {
	at, err := a.whom(ctx)
	if err != nil {
		return nil
	}
	ctx, cancel := context.WithTimeout(ctx, agentWait)
	defer cancel()
	client := at.agent
	if client == nil {
		if client, err = a.client(); err != nil {
			return nil
		}
		if s, err := client.Status(ctx); err != nil || s.Data == "" || filepath.Clean(s.Data) != filepath.Clean(at.folder) {
			return nil
		}
	}
	d, err := client.HandsOff(ctx)
	if err != nil || d.State == testday.Idle {
		return nil
	}
	return &d
}

// printDayOf says, below a plan, how the day stands that does it, or how the last one went.
func (a *app) printDayOf(ctx context.Context) error {
	d := a.dayHere(ctx)
	switch {
	case d == nil:
		return nil
	case !goesOn(*d):
		return a.printOver(*d)
	}
	p := a.printer()
	p.sayDay(*d)
	return p.Err
}

// dayLine says in a line what a day does now.
func dayLine(d testday.HandsOff) string {
	words := string(d.State)
	switch {
	case d.State == testday.Paused:
		return joinedBy("paused", strings.TrimPrefix(cmp.Or(d.Why, d.Text), "paused "))
	case d.State == testday.Hand:
		words = "a hand is needed"
	}
	if d.Position > 0 {
		words += fmt.Sprintf(", %d. of %d", d.Position, d.Slots)
		if d.Slot != nil && (d.State == testday.Hand || !strings.Contains(d.Text, d.Slot.Cell.String())) {
			words += ", " + d.Slot.Cell.String()
		}
		if d.Try > 1 {
			words += fmt.Sprintf(", for the %d. time", d.Try)
		}
	}
	if d.State != testday.Hand { // its steps follow
		words = joinedBy(words, d.Text)
	}
	switch {
	case endsAfterRun(d):
		words += "; it ends after this run"
	case d.Pausing && d.Run != "":
		words += "; it pauses after this run"
	}
	return words
}

// shortPlace is the end of a place's path, which tells it from the others beside it.
func shortPlace(w actuators.Write) string {
	if w.Path == "" {
		return w.Place()
	}
	return filepath.Join(filepath.Base(filepath.Dir(w.Path)), filepath.Base(w.Path))
}

// joinedBy are two parts of a sentence, of which the second may be missing.
func joinedBy(words, more string) string {
	if more == "" {
		return words
	}
	return words + ": " + more
}

// endsAfterRun tells whether a day goes on until its run has ended; where it was told to end
// at once, its text says so.
func endsAfterRun(d testday.HandsOff) bool {
	return d.Stopping && d.Run != "" && !strings.Contains(d.Text, "at once")
}

// sayDay says how a day stands, on a few lines.
func (p *printer) sayDay(d testday.HandsOff) {
	tone := toneGood
	if d.State == testday.Hand || d.State == testday.Paused {
		tone = toneDoubt
	}
	begin := "a day without hands goes on: "
	if d.State == testday.Paused {
		begin = "a day without hands is "
	}
	p.Say(begin+dayLine(d), "  ", tone)
	for _, step := range d.Hand {
		p.Say("by hand: "+step, "  ", toneDoubt)
	}
	if d.State == testday.Paused {
		p.Say("`sweepd plan resume` goes on, `sweepd plan stop` ends it", "  ", text.Plain)
	}
	switch {
	case d.Runner == nil:
		p.Say(testday.NoRunner, "  ", toneDoubt)
	default:
		p.Say("workloads are carried out as "+d.Runner.User, "  ", text.Plain)
	}
	if n := len(d.Changed); n > 0 {
		var list []string
		for _, w := range d.Changed {
			list = append(list, fmt.Sprintf("%s is %s, was %s", shortPlace(w), w.Text, w.Was))
		}
		p.Say("set now, and put back at the end: "+strings.Join(list, "; "), "  ", text.Plain)
	}
	if n := len(d.Skipped); n > 0 {
		p.Say(fmt.Sprintf("skipped so far: %d; the last one, %s: %s", n, d.Skipped[n-1].Cell, d.Skipped[n-1].Why), "  ", toneDoubt)
	}
}
