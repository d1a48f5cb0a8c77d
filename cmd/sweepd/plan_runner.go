package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"sync"
	"time"

	"github.com/spf13/cobra"

	"sweepd/console"
	"sweepd/run"
	"sweepd/testday"
)

// runnerFlags are those of what carries out workloads.
type runnerFlags struct {
	asRoot, show bool
}

func (f *runnerFlags) add(cmd *cobra.Command) {
	cmd.Flags().BoolVar(&f.show, "show-output", false, "show what the workloads print")
	cmd.Flags().BoolVar(&f.asRoot, "as-root", false, "carry out workloads also as root, where there is no other user")
}

// check tells why this user should not carry out workloads.
func (f *runnerFlags) check() error {
	if os.Geteuid() == 0 && !f.asRoot { // -1 on Windows
		return errors.New("workloads are not carried out as root: type this without sudo, as the user in whose desktop session they are to run (--as-root does it all the same)")
	}
	return nil
}

func (a *app) planRunnerCommand() *cobra.Command {
	var f runnerFlags
	cmd := &cobra.Command{
		Use:   "runner",
		Short: "Carry out the workloads of a day without hands as this user",
		Long: `Carry out the workloads of a day without hands as this user, in this session, until
told to end (Ctrl-C, or a signal to end): the agent has no desktop and starts nothing.
"sweepd plan run" is such a runner, too; this one is for the service manager of a desktop
session (sweepd-runner.service), or a terminal of its own, as long as that is open.

One runner is there at a time; another one waits, and takes over when it has left. Each
command runs without a terminal and without input. It is ended, with all that it started,
when the agent says so, when its time is over, when the agent does not answer for 5 s, and
when the runner ends. It is carried out for the agent alone that keeps its token where only
root or this user can have put it.`,
		Example: `  sweepd plan runner
  systemctl --user enable --now sweepd-runner.service`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if err := f.check(); err != nil {
				return err
			}
			client, err := a.client()
			if err != nil {
				return misused(err)
			}
			if client.Bearer != "" {
				return misused(errors.New("workloads are carried out on the device of the agent itself: type this there"))
			}
			ctx, stop := untilSignal(cmd.Context())
			defer stop()
			say := func(words string) {
				fmt.Fprintf(run.VisibleWriter{To: a.err}, "%s %s\n", time.Now().Format(time.TimeOnly), words)
			}
			say("waiting for workloads of the agent at " + client.URL())
			err = a.runner(respondent{agent: client}, f, "", say).Run(ctx)
			var right *console.NoRightError
			if errors.As(err, &right) {
				return fmt.Errorf("%w: %s", err, howToRunWorkloads(right.Holder))
			}
			return a.explainRefusal(respondent{agent: client}, err)
		},
	}
	f.add(cmd)
	return cmd
}

// untilSignal ends with ctx and with each signal that ends this process.
func untilSignal(ctx context.Context) (context.Context, context.CancelFunc) {
	signals, stop := testday.EndingSignals()
	ctx, cancel := context.WithCancel(ctx)
	go func() {
		select {
		case <-signals:
			cancel()
		case <-ctx.Done():
		}
	}()
	return ctx, func() { cancel(); stop() }
}

// runner is one for an agent.
func (a *app) runner(at respondent, f runnerFlags, id string, say func(string)) *testday.Runner {
	r := &testday.Runner{Agent: &agentOfRunner{app: a, client: at.agent}, ID: id, User: typist(), Say: say, Passes: console.MayPass}
	if f.show {
		r.Out = run.VisibleWriter{To: a.err}
	}
	return r
}

// goRun has a runner run, and gives its end.
func (a *app) goRun(ctx context.Context, r *testday.Runner) <-chan error {
	ended := make(chan error, 1)
	go func() { ended <- r.Run(ctx); close(ended) }()
	return ended
}

// agentOfRunner is the agent that a runner carries out workloads for. Which one that is is
// found out once it answers, and does not change any more.
type agentOfRunner struct {
	app    *app
	client *console.Client

	mu    sync.Mutex // guards known
	known bool
}

func (x *agentOfRunner) RunnerBeat(ctx context.Context, b testday.Beat) (testday.Order, error) {
	if err := x.know(ctx); err != nil {
		return testday.Order{}, err
	}
	return x.client.RunnerBeat(ctx, b)
}

func (x *agentOfRunner) know(ctx context.Context) error {
	x.mu.Lock()
	defer x.mu.Unlock()
	if x.known {
		return nil
	}
	status, err := x.client.Status(ctx)
	if err != nil {
		return err
	}
	if err := x.app.trusts(respondent{agent: x.client, status: status, folder: status.Data}); err != nil {
		return err
	}
	x.client.Holder, x.known = status.Holder, true
	return nil
}

// trusts tells why nothing is carried out that an agent says: whoever is first at the port
// could be one. It has to keep its token where nobody but root and this user can have made
// the folder, or in the one that this command names itself.
func (a *app) trusts(at respondent) error {
	c, err := a.config()
	if err != nil {
		return err
	}
	if at.folder == "" {
		return fmt.Errorf("the agent at %s does not say where its data is, so it cannot show that it is this device's: restart it with the version that is installed", at.agent.URL())
	}
	if own, _ := a.dataDirFrom(c); filepath.Clean(own) == filepath.Clean(at.folder) {
		return nil
	}
	if why := plantedBy(at.folder); why != "" {
		return fmt.Errorf("the agent at %s keeps its data in %s, and %s: no workload is carried out for it. Where that is right, name the folder: --data %[2]s", at.agent.URL(), at.folder, why)
	}
	return nil
}
