// Program faults plants faults in the packages, one at a time, and counts how
// many a package's own tests notice.
//
// The words: an operator is a kind of small mistake, such as a turned
// comparison; a place is where one operator fits; a fault is one changed place.
// Places are drawn by a seed from all places of all operators. Each fault is
// compiled through an overlay, so that the checkout is never written to, and
// the tests of its package run on it with -short. A fault that does not compile
// does not count, and another is drawn.
//
// The method is mutation analysis: R. A. DeMillo, R. J. Lipton, F. G. Sayward,
// "Hints on test data selection: help for the practicing programmer", IEEE
// Computer 11(4), 1978. The operators are the five that A. J. Offutt et al.
// found to suffice, "An experimental determination of sufficient mutant
// operators", ACM TOSEM 5(2), 1996, and mistakes that Go invites: a deleted
// statement, a condition turned around, swapped arguments, a lock not taken, an
// error not returned. (Nobody looked either paper up.)
//
//	go run ./internal/faults --packages frames,report/chart --per-package 20 --seed 3
package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"os/signal"
	"strings"
	"syscall"
	"time"
)

// wanted is the share of the faults that tests have to notice.
const wanted = 0.9

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	err := run(ctx, os.Args[1:], os.Stdout, os.Stderr)
	stop()
	switch {
	case errors.Is(err, flag.ErrHelp):
	case errors.Is(err, errUsage):
		os.Exit(2)
	case err != nil:
		fmt.Fprintln(os.Stderr, "faults:", err)
		os.Exit(1)
	}
}

// errUsage is returned when the command line is not understood; what is wrong
// was printed.
var errUsage = errors.New("the command line is not understood")

type options struct {
	dir        string
	packages   string
	seed       uint64
	perPackage int
	total      int
	out        string
	grace      time.Duration
	list       bool
}

func run(ctx context.Context, args []string, stdout, stderr io.Writer) error {
	var o options
	f := flag.NewFlagSet("faults", flag.ContinueOnError)
	f.SetOutput(stderr)
	f.StringVar(&o.dir, "dir", ".", "a folder of the module")
	f.StringVar(&o.packages, "packages", "", "packages below the module, separated by commas; all that can be tried if empty")
	f.Uint64Var(&o.seed, "seed", 1, "of the draw")
	f.IntVar(&o.perPackage, "per-package", 4, "faults in each package")
	f.IntVar(&o.total, "total", 0, "faults in all: those above --per-package are drawn from all packages together")
	f.StringVar(&o.out, "out", "", "file of JSON lines, one a fault; faults that it already holds are not tried again")
	f.DurationVar(&o.grace, "grace", 10*time.Second, "what tests may take above three times what they take without a fault")
	f.BoolVar(&o.list, "list", false, "only list how many places each package has, by operator")
	if err := f.Parse(args); errors.Is(err, flag.ErrHelp) {
		return err
	} else if err != nil {
		return errUsage
	}
	if f.NArg() > 0 {
		fmt.Fprintf(stderr, "%q is not understood: everything is a flag\n", f.Arg(0))
		return errUsage
	}
	return plant(ctx, o, stdout, stderr)
}

// plant draws the faults and tries them.
func plant(ctx context.Context, o options, stdout, stderr io.Writer) error {
	m, err := openModule(ctx, o.dir)
	if err != nil {
		return err
	}
	packages, err := m.choose(o.packages)
	if err != nil {
		return err
	}
	for _, p := range packages {
		if err := p.findPlaces(); err != nil {
			return err
		}
	}
	if o.list {
		writePlaces(stdout, packages)
		return nil
	}
	for _, p := range packages {
		if err := p.tested(); err != nil {
			return err
		}
	}
	known, err := readEquivalents(m.root)
	if err != nil {
		return err
	}
	log, err := openLog(o.out)
	if err != nil {
		return err
	}
	t, err := newTrials(m.root, log, known, o.grace, stderr)
	if err != nil {
		return errors.Join(err, log.Close())
	}
	err = draw(o, packages, func(p *goPackage, x fault) (bool, error) { return t.try(ctx, o.seed, p, x) })
	if err := errors.Join(err, t.Close(), log.Close()); err != nil {
		return err
	}
	return conclude(stdout, o, t.tried)
}

// conclude writes what came out, and says whether it is enough.
func conclude(w io.Writer, o options, tried []record) error {
	writeTable(w, tried)
	writeSurvivors(w, tried)
	c := count(tried)
	var short []string
	if c.tried == 0 {
		short = append(short, "no fault compiled")
	}
	if c.share() < wanted {
		short = append(short, fmt.Sprintf("%.1f %% of the faults were noticed, %.0f %% are wanted: let tests notice what is listed as survived", 100*c.share(), 100*wanted))
	}
	if limit := equivalentLimit(c.tried); c.equivalent > limit {
		short = append(short, fmt.Sprintf("%d faults of %d are called equivalent, at most %d may be", c.equivalent, c.tried, limit))
	}
	if len(short) > 0 {
		return fmt.Errorf("seed %d: %s", o.seed, strings.Join(short, "; "))
	}
	return nil
}
