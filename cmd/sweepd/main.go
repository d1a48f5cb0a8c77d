// Command sweepd samples portable computers under test, keeps their runs and
// compares them. See `sweepd help`.
package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"strings"
	"syscall"

	"sweepd/run"
	"sweepd/testday"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	code := Run(ctx, os.Args[1:], os.Stdin, os.Stdout, os.Stderr)
	stop()
	os.Exit(code)
}

// Exit codes.
const (
	exitOK     = 0
	exitFailed = 1 // understood, but it could not be done
	exitUsage  = 2 // the command line cannot be understood
)

// Run carries out one command line and returns the exit code.
func Run(ctx context.Context, args []string, stdin io.Reader, stdout, stderr io.Writer) int {
	a := &app{in: stdin, out: stdout, err: stderr, getenv: os.Getenv}
	root := a.root()
	root.SetArgs(a.forgive(root, args))
	root.SetIn(stdin)
	root.SetOut(stdout)
	root.SetErr(stderr)
	err := root.ExecuteContext(ctx)
	var usage *usageError
	var request *testday.RequestError
	if errors.Is(err, context.Canceled) && ctx.Err() != nil {
		err = errors.New(strings.ReplaceAll(err.Error(), context.Canceled.Error(), "stopped before it was done"))
	}
	switch {
	case err == nil:
		return exitOK
	case errors.As(err, &usage), errors.As(err, &request), !a.started:
		fmt.Fprintf(run.VisibleWriter{To: stderr}, "sweepd: %v\nTry `%s --help`.\n", err, a.commandMeant(root, args))
		return exitUsage
	default:
		fmt.Fprintf(run.VisibleWriter{To: stderr}, "sweepd: %v\n", err)
		return exitFailed
	}
}

// usageError is what a command finds wrong with its command line that the
// parser of flags could not see.
type usageError struct{ err error }

func (e *usageError) Error() string { return e.err.Error() }
func (e *usageError) Unwrap() error { return e.err }

// misused marks an error as one of the command line; nil stays nil.
func misused(err error) error {
	if err == nil {
		return nil
	}
	return &usageError{err}
}
