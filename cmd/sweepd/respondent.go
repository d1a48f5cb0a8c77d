package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"

	"sweepd/console"
	"sweepd/run"
	"sweepd/store"
	"sweepd/store/sqlite"
	"sweepd/testday"
)

// respondent is whom a command asks: the agent that answers, or the data in a folder. It is
// the one resolution of the two for all commands.
type respondent struct {
	agent  *console.Client // nil: the folder
	status testday.Status  // of the agent
	folder string          // of the data; the agent's where one is asked and says it
	from   string          // who says so
}

// whom tells whom commands ask: --data and SWEEPD_DATA mean that folder. Otherwise it is
// the agent that answers, whoever types; without one, the folder that the configuration
// names, or the system's usual one, unless an agent was named: then it is an error.
func (a *app) whom(ctx context.Context) (respondent, error) {
	if a.found != nil {
		return *a.found, nil
	}
	c, err := a.config()
	if err != nil {
		return respondent{}, err
	}
	var at respondent
	at.folder, at.from = a.dataDirFrom(c)
	if !namesFolder(at.from) {
		if err := a.findAgent(ctx, &at); err != nil {
			return at, err
		}
	}
	a.found = &at
	return at, nil
}

// namesFolder tells whether a folder was named for this command, by the command line or
// the environment.
func namesFolder(from string) bool { return from == fromFlag || from == fromEnvironment }

// findAgent asks whether an agent answers.
func (a *app) findAgent(ctx context.Context, at *respondent) error {
	client, err := a.client()
	if err != nil {
		return misused(err)
	}
	wait, cancel := context.WithTimeout(ctx, busyAgentWait)
	defer cancel()
	status, err := client.Status(wait)
	switch {
	case err == nil:
		client.Holder = status.Holder
		at.agent, at.status = client, status
		if status.Data != "" {
			at.folder, at.from = status.Data, fromAgent
		}
		return nil
	case errors.Is(err, context.DeadlineExceeded) && ctx.Err() == nil:
		return fmt.Errorf("the agent at %s does not answer within %v: restart it, or read a folder itself with --data DIR", client.URL(), busyAgentWait)
	case a.agentNamed() != "":
		return fmt.Errorf("%w; to work on a folder without an agent, name it with --data DIR", err)
	}
	return nil
}

// call carries out an operation: the agent that answers does, or this process on the
// data. What of the data is damaged is told when the command ends.
func call[Q, A any](ctx context.Context, a *app, op *testday.Operation[Q, A], q Q) (A, error) {
	return callWith(ctx, a, op, q, bytesOf{})
}

// bytesOf is what an operation takes and gives as bytes, and who is told how far it is.
type bytesOf struct {
	in       io.Reader
	out      io.Writer
	progress func(done, total int)
}

func callWith[Q, A any](ctx context.Context, a *app, op *testday.Operation[Q, A], q Q, b bytesOf) (answer A, err error) {
	at, err := a.whom(ctx)
	if err != nil {
		return answer, err
	}
	if at.agent != nil {
		var damage error
		answer, damage, err = console.Call(ctx, at.agent, op, q, a.zone(), b.in, b.out)
		a.damage = errors.Join(a.damage, damage)
		return answer, a.explainRefusal(at, err)
	}
	c, err := a.config()
	if err != nil {
		return answer, err
	}
	day := a.day(ctx, c, b)
	day.Dir = at.folder
	if op.Opens == testday.OpensNothing {
		return op.Do(ctx, day, q)
	}
	s, err := sqlite.Open(at.folder, sqlite.Options{ReadOnly: op.Opens == testday.OpensToRead})
	if err != nil {
		return answer, ofOwner(at.folder, err)
	}
	day.Store = &readWithUnstored{s, a.asEnded(s)}
	answer, err = op.Do(ctx, day, q)
	a.damage = errors.Join(a.damage, s.Damage())
	return answer, errors.Join(err, s.Close())
}

// readWithUnstored is a store whose runs are as they have ended where an agent could not
// store that so far.
type readWithUnstored struct {
	store.Store
	with store.Runs
}

func (s *readWithUnstored) Runs(ctx context.Context, f store.Filter) ([]run.Run, error) {
	return s.with.Runs(ctx, f)
}

func (s *readWithUnstored) Run(ctx context.Context, id string) (run.Record, error) {
	return s.with.Run(ctx, id)
}

func (s *readWithUnstored) FindRun(ctx context.Context, id string) (string, error) {
	return s.with.FindRun(ctx, id)
}

// day is what operations in this process work with, but for the data.
func (a *app) day(ctx context.Context, c config, b bytesOf) *testday.Day {
	day := &testday.Day{
		Lower: c.Lower, Prices: c.Prices, Published: c.Report.publication(), FramesShort: c.Thresholds.FramesShort, Thresholds: c.Thresholds.forJudge(), Version: currentVersion(), Now: time.Now(),
		Device: func() (string, error) { return a.watchedDevice(ctx, c) },
		Status: func() (testday.Status, error) { return a.status(ctx) },
		Publish: func(change func() (run.Event, error)) error {
			e, err := change()
			if err == nil {
				a.tellAgent(ctx, e.Run.ID)
			}
			return err
		},
		Actuators: actuatorOffers(c),
		Progress:  b.progress, In: b.in, Out: b.out,
	}
	if day.Progress == nil {
		day.Progress = func(int, int) {}
	}
	return day
}

// explainRefusal says what to do where an agent did not do what it was asked.
func (a *app) explainRefusal(at respondent, err error) error {
	var unknown *console.UnknownOperationError
	var right *console.NoRightError
	switch {
	case errors.As(err, &unknown):
		return fmt.Errorf("%w: it is of version %s, this command of %s: restart the agent with the version that is installed, or read its folder itself with --data %s", err, at.status.Version, currentVersion(), at.folder)
	case errors.As(err, &right):
		return fmt.Errorf("%w: %s", err, howToGetRight(right.Holder))
	}
	return err
}

// zone is the time zone of this user by a name that the agent knows too, else by its
// present offset.
func (a *app) zone() string {
	name := a.getenv("TZ")
	if name == "" {
		if link, err := os.Readlink("/etc/localtime"); err == nil {
			if _, after, ok := strings.Cut(link, "zoneinfo/"); ok {
				name = after
			}
		}
	}
	name = strings.TrimPrefix(name, ":")
	now := time.Now()
	if at, err := time.LoadLocation(name); err == nil && name != "" && name != "Local" && now.In(at).Format("-07:00 MST") == now.Format("-07:00 MST") {
		return name
	}
	return now.Format("-07:00")
}

// ofOwner says of data that may not be read whose it is.
func ofOwner(dir string, err error) error {
	if !errors.Is(err, fs.ErrPermission) {
		return err
	}
	for ; ; dir = filepath.Dir(dir) {
		if owner := ownerOf(dir); owner != "" {
			return fmt.Errorf("%w (%s is %s)", err, dir, owner)
		}
		if dir == filepath.Dir(dir) {
			return err
		}
	}
}
