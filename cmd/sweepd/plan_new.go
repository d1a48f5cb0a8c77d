package main

import (
	"errors"
	"fmt"

	"github.com/spf13/cobra"

	"sweepd/schedule"
	"sweepd/testday"
)

// requestFlags are a schedule.Request on the command line.
type requestFlags struct {
	cells schedule.Request
	seed  uint64
}

func (f *requestFlags) add(cmd *cobra.Command) {
	cmd.Flags().StringArrayVar(&f.cells.Devices, "device", nil, "`NAME` of a device (repeatable); unless given, this one")
	cmd.Flags().StringArrayVar(&f.cells.Workloads, "workload", nil, "`NAME` of a workload (repeatable)")
	cmd.Flags().StringSliceVar(&f.cells.Settings, "settings", nil, "settings and ranges with a step, such as `8-28/4`,35W,quiet")
	cmd.Flags().StringSliceVar(&f.cells.Supplies, "supply", nil, "`mains,battery`, or one of them (default both)")
	cmd.Flags().StringArrayVar(&f.cells.Variants, "variant", nil, "`k=v`, or pairs joined by commas, for one variant (repeatable)")
	cmd.Flags().StringSliceVar(&f.cells.Hard, "hard", nil, "`KEYS` of the variant that are hard to change, hardest first; the supply always is")
	cmd.Flags().IntVar(&f.cells.Repeats, "repeats", 0, fmt.Sprintf("`N` runs of each cell (default %d)", schedule.DefaultRepeats))
	cmd.Flags().Uint64Var(&f.seed, "seed", 0, "`NUMBER` that the random order follows from; unless given, a new one")
}

func (a *app) planNewCommand() *cobra.Command {
	var f requestFlags
	var e estimateFlags
	var replace, isNew bool
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
need and the expected end may come out otherwise. A plan in force that is not done
yet gives way only to --replace, or to a yes at the terminal; it is kept, but no
longer followed.`,
		Example: `  sweepd plan new --workload harbour-flight --workload tile-sort --settings 8-28/4
  sweepd plan new day.yaml --repeats 5 --seed 42
  sweepd plan new day.csv`,
		Args: cobra.MaximumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			file := ""
			if len(args) > 0 {
				file = args[0]
			}
			if testday.IsPlanTable(file) {
				for _, name := range []string{"device", "workload", "settings", "supply", "variant", "hard", "repeats", "seed"} {
					if cmd.Flags().Changed(name) {
						return misused(fmt.Errorf("--%s has no meaning beside %s: the table is the plan", name, file))
					}
				}
			}
			if cmd.Flags().Changed("repeats") {
				if err := schedule.CheckRepeats(f.cells.Repeats); err != nil {
					return misused(fmt.Errorf("--repeats: %w", err))
				}
			}
			q := testday.PlanRequest{Request: f.cells, EstimateRequest: e.request(), Replace: replace, New: isNew}
			if cmd.Flags().Changed("seed") {
				q.Seed = &f.seed
			}
			if file != "" {
				var err error
				if q.File, err = testday.ReadPlanFile(cmd.Context(), file); err != nil {
					return err
				}
			}
			p, err := call(cmd.Context(), a, testday.MakePlan, q)
			var names *testday.NamesError
			if errors.As(err, &names) {
				if q.Use, err = a.settleDoubts(names.Doubts, ""); err != nil {
					return err
				}
				q.New = true
				p, err = call(cmd.Context(), a, testday.MakePlan, q)
			}
			if a.mayReplace(err) {
				q.Replace = true
				p, err = call(cmd.Context(), a, testday.MakePlan, q)
			}
			var replaces *testday.ReplacesError
			if errors.As(err, &replaces) {
				return fmt.Errorf("%w: nothing was changed; to follow the new plan in its place add --replace, to add runs to it see `sweepd plan extend`", err)
			}
			if err != nil {
				return err
			}
			return a.printPlan(p, false)
		},
	}
	f.add(cmd)
	e.add(cmd)
	newFlag(cmd.Flags(), &isNew)
	cmd.Flags().BoolVar(&replace, "replace", false, "follow this plan in the place of one that is not done yet")
	return cmd
}

// mayReplace asks whether a plan may take the place of one that is not done yet.
func (a *app) mayReplace(err error) bool {
	var replaces *testday.ReplacesError
	if !errors.As(err, &replaces) {
		return false
	}
	yes, _ := a.ask(err.Error() + ". Follow the new plan in its place?")
	return yes
}
