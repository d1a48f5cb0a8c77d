package main

import (
	"context"
	"fmt"
	"slices"
	"time"

	"github.com/spf13/cobra"

	"sweepd/run"
	"sweepd/schedule"
	"sweepd/store"
	"sweepd/store/sqlite"
)

func (a *app) planCommand() *cobra.Command {
	plan := &cobra.Command{
		Use:   "plan",
		Short: "Plan a test day, follow it, and say what comes next",
		Example: `  sweepd plan new --workload harbour-flight --settings 8-28/4 --repeats 3
  sweepd plan next
  sweepd plan status`,
	}
	plan.AddCommand(a.planNewCommand(), a.planStatusCommand(), a.planNextCommand(), a.planExtendCommand())
	return plan
}

// planSeen is the plan in force with what became of it.
type planSeen struct {
	plan      schedule.Plan
	runs      []run.Run // since it was made
	estimates schedule.Estimates
}

// readPlan reads the plan in force and the runs since.
func readPlan(ctx context.Context, s store.Store) (p planSeen, err error) {
	if p.plan, err = s.Plan(ctx); err != nil {
		return p, err
	}
	if p.estimates, err = learned(ctx, s, p.plan.Said); err != nil {
		return p, err
	}
	p.runs, err = s.Runs(ctx, store.Filter{Since: p.plan.CreatedAt.Time})
	return p, err
}

// learned is what the user said of runs and batteries, and what the data says
// where the user did not.
func learned(ctx context.Context, s store.Store, said schedule.Estimates) (schedule.Estimates, error) {
	devices, err := s.Devices(ctx)
	if err != nil {
		return said, err
	}
	var all []run.Record
	for _, d := range devices {
		runs, err := s.Runs(ctx, store.Filter{Device: d.Device, Limit: learnFrom})
		if err != nil {
			return said, err
		}
		last, err := s.Records(ctx, store.Filter{Device: d.Device, Limit: 1})
		if err != nil {
			return said, err
		}
		for _, r := range runs {
			all = append(all, run.Record{Run: r})
		}
		for _, r := range last {
			all[len(all)-1].Facts = r.Facts
		}
	}
	slices.SortStableFunc(all, func(x, y run.Record) int { return x.StartedAt.Compare(y.StartedAt.Time) })
	return said.Learn(all), nil
}

// learnFrom is how many of a device's newest runs tell how long runs last and what
// they draw.
const learnFrom = 1000

// nextSlot is the slot that a device's next run belongs to.
func (a *app) nextSlot(ctx context.Context, device string) (slot schedule.Slot, err error) {
	return slot, a.withStore(sqlite.Options{ReadOnly: true}, func(s store.Store, _ config) error {
		p, err := readPlan(ctx, s)
		if err != nil {
			return fmt.Errorf("no label was given, and %w", err)
		}
		g := p.plan.Follow(p.runs, device, p.estimates, time.Now())
		if g.Next == 0 {
			return fmt.Errorf("no label was given, and the plan has nothing left for %s", device)
		}
		slot = p.plan.Slots[g.Next-1]
		return nil
	})
}

// estimateFlags are what a user says of runs and batteries.
type estimateFlags struct {
	run, pause string
	full       energies
	reserve    share
	charge     float64
}

func (f *estimateFlags) add(cmd *cobra.Command) {
	cmd.Flags().StringVar(&f.run, "run-time", "", "how long a run lasts, such as `5m`; unless given, as runs so far did, else 5m")
	cmd.Flags().StringVar(&f.pause, "pause", "", "`TIME` between two runs; unless given, as so far, else 90s")
	cmd.Flags().Var(&f.full, "full-energy", "what the battery holds when full, such as 48.6Wh or unit-oak=48.6Wh; unless given, as the devices say")
	cmd.Flags().Var(&f.reserve, "reserve", "charge that runs on battery leave (default 10%)")
	cmd.Flags().Float64Var(&f.charge, "charge-power", 0, "`WATTS` that fill the battery while runs on mains go on; unless given, it takes 2 hours")
}

// over puts what the flags say over what a file says.
func (f *estimateFlags) over(e schedule.Estimates) (schedule.Estimates, error) {
	if f.run != "" {
		d, err := schedule.ParseSpan(f.run)
		if err != nil {
			return e, misused(fmt.Errorf("--run-time %w", err))
		}
		e.Run = map[string]time.Duration{"": d}
	}
	if f.pause != "" {
		d, err := schedule.ParseSpan(f.pause)
		if err != nil {
			return e, misused(fmt.Errorf("--pause %w", err))
		}
		e.Pause = d
	}
	all := e.Batteries[""]
	if f.reserve.given {
		all.Reserve = f.reserve.value
	}
	if f.charge != 0 {
		all.ChargeW = f.charge
	}
	batteries := map[string]schedule.Battery{}
	for _, x := range f.full {
		b := all
		b.FullWh = x.Wh
		if x.Device == "" {
			all = b
			continue
		}
		batteries[x.Device] = b
	}
	if err := all.Check(); err != nil {
		return e, misused(err)
	}
	if all != (schedule.Battery{}) {
		batteries[""] = all
	}
	e.Batteries = batteries
	return e, nil
}
