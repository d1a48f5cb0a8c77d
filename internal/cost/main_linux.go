// Command cost measures what watching costs: the sampling loop against the bare
// system calls, the whole agent, and whether a load runs slower beside it.
//
//	go run ./internal/cost >FILE
//	go run ./internal/cost --parts start,agent,disturb --against OLD_SWEEPD
//
// It prints Markdown tables, one for each part, and says on standard error what
// it is doing.
//
// Words: a part is what one table shows; a build is a binary of sweepd; a child
// is this program started again to be measured alone; the bare loop paces and
// reads and does nothing else.
package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"os/signal"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"sweepd/internal/simdevice"
)

func main() {
	if len(os.Args) == 3 && os.Args[1] == childArg {
		if err := runChild(os.Args[2], os.Stdout); err != nil {
			fmt.Fprintln(os.Stderr, "cost:", err)
			os.Exit(1)
		}
		return
	}
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	if err := measure(ctx, os.Args[1:], os.Stdout, os.Stderr); err != nil && !errors.Is(err, flag.ErrHelp) {
		fmt.Fprintln(os.Stderr, "cost:", err)
		os.Exit(1)
	}
}

// options are the command line.
type options struct {
	minutes         float64 // of the whole agent
	turns           int     // of the loops, each with its bare loop
	turn            time.Duration
	pairs           int // of loads with and without the agent
	load            time.Duration
	starts          int
	parts           []string
	binary, against string
}

// parts of the benchmark, in order.
var parts = []struct {
	name    string
	measure func(*bench, context.Context) error
}{
	{"start", (*bench).measureStart},
	{"loop", (*bench).measureLoop},
	{"agent", (*bench).measureAgent},
	{"watchers", (*bench).measureWatchers},
	{"disturb", (*bench).measureDisturbance},
}

func parse(args []string, stderr io.Writer) (options, error) {
	var names []string
	for _, p := range parts {
		names = append(names, p.name)
	}
	var o options
	f := flag.NewFlagSet("cost", flag.ContinueOnError)
	f.SetOutput(stderr)
	f.Float64Var(&o.minutes, "minutes", 10, "`minutes` that the whole agent is watched for")
	f.IntVar(&o.turns, "turns", 12, "`times` that each loop takes a turn")
	f.DurationVar(&o.turn, "turn", 5*time.Second, "`time` of a turn")
	f.IntVar(&o.pairs, "pairs", 60, "`pairs` of loads with and without the agent")
	f.DurationVar(&o.load, "load", 1500*time.Millisecond, "`time` that a load takes")
	f.IntVar(&o.starts, "starts", 15, "`times` that the agent is started")
	f.StringVar(&o.binary, "binary", "", "`FILE` of sweepd to measure; built from this source unless given")
	f.StringVar(&o.against, "against", "", "`FILE` of another sweepd to measure beside it; not in the part loop, which is this source's")
	list := f.String("parts", strings.Join(names, ","), "`parts` to measure, separated by commas")
	if err := f.Parse(args); err != nil {
		return o, err
	}
	o.parts = strings.Split(*list, ",")
	for _, part := range o.parts {
		if !slices.Contains(names, part) {
			return o, fmt.Errorf("unknown part %q: the parts are %s", part, strings.Join(names, ", "))
		}
	}
	if o.minutes <= 0 || o.turns < 1 || o.turn < time.Second || o.pairs < 2 || o.load < 10*time.Millisecond || o.starts < 1 || f.NArg() > 0 {
		return o, errors.New("times and counts must be positive, pairs at least 2, a turn at least 1s, and nothing may follow the flags")
	}
	return o, nil
}

// bench is one measurement of everything that was asked for.
type bench struct {
	options
	dir    string  // in memory, for trees; removed at the end
	disk   string  // for binary and data; removed at the end
	builds []build // what is measured: one, or two with --against
	log    io.Writer
	tables []table
}

// build is a binary of sweepd.
type build struct{ name, binary string }

func measure(ctx context.Context, args []string, stdout, stderr io.Writer) (err error) {
	b := &bench{log: stderr}
	if b.options, err = parse(args, stderr); err != nil {
		return err
	}
	if b.dir, err = simdevice.MakeTempDir("cost"); err != nil {
		return err
	}
	defer func() { err = errors.Join(err, os.RemoveAll(b.dir)) }()
	if b.disk, err = os.MkdirTemp("", "sweepd-cost-"); err != nil {
		return err
	}
	defer func() { err = errors.Join(err, os.RemoveAll(b.disk)) }()
	if b.binary == "" {
		b.binary = filepath.Join(b.disk, "sweepd")
		b.say("building sweepd")
		if err := buildBinary(ctx, b.binary); err != nil {
			return err
		}
	}
	b.builds = []build{{"this", b.binary}}
	if b.against != "" {
		b.builds = append(b.builds, build{"against", b.against})
	}
	before := loadAverage()
	for _, p := range parts {
		if !slices.Contains(b.parts, p.name) {
			continue
		}
		if err := p.measure(b, ctx); err != nil {
			return fmt.Errorf("measure %s: %w", p.name, err)
		}
	}
	return writeMarkdown(stdout, machineClass(time.Now(), before), b.tables)
}

// say tells what is going on, since it takes long.
func (b *bench) say(format string, args ...any) { fmt.Fprintf(b.log, format+"\n", args...) }
