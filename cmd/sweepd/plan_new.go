package main

import (
	"crypto/rand"
	"encoding/binary"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"sweepd/schedule"
	"sweepd/store"
	"sweepd/store/sqlite"
)

// requestFlags are a schedule.Request on the command line.
type requestFlags struct {
	q    schedule.Request
	seed uint64
}

func (f *requestFlags) add(cmd *cobra.Command) {
	cmd.Flags().StringArrayVar(&f.q.Devices, "device", nil, "`NAME` of a device (repeatable); unless given, this one")
	cmd.Flags().StringArrayVar(&f.q.Workloads, "workload", nil, "`NAME` of a workload (repeatable)")
	cmd.Flags().StringSliceVar(&f.q.Settings, "settings", nil, "settings and ranges with a step, such as `8-28/4`,35W,quiet")
	cmd.Flags().StringSliceVar(&f.q.Supplies, "supply", nil, "`mains,battery`, or one of them (default both)")
	cmd.Flags().StringArrayVar(&f.q.Variants, "variant", nil, "`k=v`, or pairs joined by commas, for one variant (repeatable)")
	cmd.Flags().StringSliceVar(&f.q.Hard, "hard", nil, "`KEYS` of the variant that are hard to change, hardest first; the supply always is")
	cmd.Flags().IntVar(&f.q.Repeats, "repeats", 0, fmt.Sprintf("`N` runs of each cell (default %d)", schedule.DefaultRepeats))
	cmd.Flags().Uint64Var(&f.seed, "seed", 0, "`NUMBER` that the random order follows from; unless given, a new one")
}

// over puts what the flags say over what a file says.
func (f *requestFlags) over(q schedule.Request) schedule.Request {
	for _, x := range []struct{ to, from *[]string }{
		{&q.Devices, &f.q.Devices}, {&q.Workloads, &f.q.Workloads}, {&q.Settings, &f.q.Settings},
		{&q.Supplies, &f.q.Supplies}, {&q.Variants, &f.q.Variants}, {&q.Hard, &f.q.Hard},
	} {
		if len(*x.from) > 0 {
			*x.to = *x.from
		}
	}
	if f.q.Repeats != 0 {
		q.Repeats = f.q.Repeats
	}
	return q
}

func (a *app) planNewCommand() *cobra.Command {
	var f requestFlags
	var e estimateFlags
	cmd := &cobra.Command{
		Use:   "new [FILE.yaml|FILE.csv]",
		Short: "Make a plan: every cell once a pass, in random order",
		Long: `Make a plan of all combinations of devices, workloads, settings, supplies and
variants: pass after pass, each with every cell once in random order. What is hard
to change (the supply, and what --hard names) is changed as seldom as the battery
allows, in the opposite order from pass to pass. A YAML file may say all that the
flags say; the flags go before it. A CSV file is a plan in its own order, as
"plan status --csv" writes one, with the seed and the keys that are hard to change.
It does not carry what was said of runs and batteries (--run-time, --pause,
--full-energy, --reserve, --charge-power): say it again, or the charge that runs
need and the expected end may come out otherwise. The plan that was in force before
is kept, but no longer followed.`,
		Example: `  sweepd plan new --workload harbour-flight --workload tile-sort --settings 8-28/4
  sweepd plan new day.yaml --repeats 5 --seed 42
  sweepd plan new day.csv`,
		Args: cobra.MaximumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			file := ""
			if len(args) > 0 {
				file = args[0]
			}
			return a.withStore(sqlite.Options{}, func(s store.Store, c config) error {
				p, estimates, err := a.makePlan(cmd, s, c, file, &f, &e)
				if err != nil {
					return err
				}
				if p.ID, err = s.NewPlan(cmd.Context(), p); err != nil {
					return err
				}
				return a.printPlan(planSeen{plan: p, estimates: estimates}, "", false)
			})
		},
	}
	f.add(cmd)
	e.add(cmd)
	return cmd
}

// makePlan makes the plan that flags and file ask for.
func (a *app) makePlan(cmd *cobra.Command, s store.Store, c config, file string, f *requestFlags, e *estimateFlags) (p schedule.Plan, estimates schedule.Estimates, err error) {
	var q schedule.Request
	var said schedule.Estimates
	seeded := cmd.Flags().Changed("seed")
	table := strings.EqualFold(filepath.Ext(file), ".csv")
	if file != "" && !table {
		in, err := os.Open(file)
		if err != nil {
			return p, said, err
		}
		defer in.Close()
		var inFile bool
		if q, said, inFile, err = schedule.ReadRequest(in, file); err != nil {
			return p, said, err
		}
		if inFile && !seeded {
			f.seed, seeded = q.Seed, true
		}
	}
	if said, err = e.over(said); err != nil {
		return p, said, err
	}
	if estimates, err = learned(cmd.Context(), s, said); err != nil {
		return p, said, err
	}
	if table {
		for _, name := range []string{"device", "workload", "settings", "supply", "variant", "hard", "repeats", "seed"} {
			if cmd.Flags().Changed(name) {
				return p, said, misused(fmt.Errorf("--%s has no meaning beside %s: the table is the plan", name, file))
			}
		}
		in, err := os.Open(file)
		if err != nil {
			return p, said, err
		}
		defer in.Close()
		p, err = schedule.ReadCSV(in, file, estimates, time.Now())
		p.Said = said
		return p, estimates, err
	}
	if q = f.over(q); len(q.Devices) == 0 {
		device, err := deviceName(c)
		if err != nil {
			return p, said, err
		}
		q.Devices = []string{device}
	}
	if q.Seed = f.seed; !seeded {
		q.Seed = randomSeed()
	}
	p, err = schedule.New(q, estimates, time.Now())
	p.Said = said
	return p, estimates, err
}

// randomSeed is short enough to be typed again.
func randomSeed() uint64 {
	var b [4]byte
	_, _ = rand.Read(b[:]) // it never fails
	return uint64(binary.LittleEndian.Uint32(b[:]))
}
