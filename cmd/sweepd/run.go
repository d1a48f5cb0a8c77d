package main

import (
	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"sweepd/run"
	"sweepd/testday"
)

func (a *app) runCommand() *cobra.Command {
	run := &cobra.Command{
		Use:   "run",
		Short: "Start and stop runs, list them, correct them",
		Example: `  sweepd run start --workload harbour-flight --setting 25W
  sweepd run stop --result fps_mean=61.3fps
  sweepd run list --supply battery`,
	}
	run.AddCommand(a.runStartCommand(), a.runStopCommand(), a.runWatchCommand(), a.runListCommand(), a.runDoubtsCommand(), a.runShowCommand(),
		a.runResultCommand(), a.runCorrectCommand(), a.runHistoryCommand(), a.runRejectCommand(), a.runKeepCommand(), a.runTrimCommand(), a.runMeterCommand())
	return run
}

// filterFlags select runs.
type filterFlags struct {
	testday.FilterRequest
	supply choiceFlag
}

func (f *filterFlags) add(cmd *cobra.Command) {
	cmd.Flags().StringVar(&f.Device, "device", "", "only runs of the device `NAME`")
	cmd.Flags().StringVar(&f.Workload, "workload", "", "only runs of the workload `NAME`")
	f.supply.words = []string{string(run.Mains), string(run.Battery)}
	cmd.Flags().Var(&f.supply, "supply", "only runs on this supply")
	cmd.Flags().StringArrayVar(&f.Variant, "variant", nil, "only runs with this `k=v` pair (repeatable)")
	cmd.Flags().StringVar(&f.Since, "since", "", "only runs that started at `WHEN` or later: 2026-05-04, yesterday, 09:30, 2h or 3d ago")
	cmd.Flags().StringVar(&f.Until, "until", "", "only runs that started before the end of `WHEN`, a day or a minute: 2026-05-04, 09:30")
}

// request is what the flags ask for.
func (f *filterFlags) request() testday.FilterRequest {
	f.Supply = f.supply.value
	return f.FilterRequest
}

// addListed adds the filters that only lists of runs have.
func (f *filterFlags) addListed(cmd *cobra.Command) {
	cmd.Flags().StringVar(&f.Setting, "setting", "", "only runs at this setting, such as `25W` or quiet")
	cmd.Flags().StringVar(&f.State, "state", "", "only runs in this `STATE`: recording, finished, interrupted or rejected")
	cmd.Flags().StringVar(&f.Finding, "finding", "", "only runs with the finding `CODE`")
	cmd.Flags().Var((*countFlag)(&f.Last), "last", "only the newest `N` of them")
}

// startFlags are what a user says when starting a run.
type startFlags struct {
	workload, setting, note string
	variant                 []string
	room, refresh, version  string
	by                      string // what declares the setting
	isNew                   bool
}

func (f *startFlags) add(cmd *cobra.Command) {
	cmd.Flags().Var(&labelFlag{"workload", &f.workload}, "workload", "`NAME` of what is run")
	cmd.Flags().StringVar(&f.setting, "setting", "", "the active power setting, in watts (`25W`) or by name; unless given, the one declared before or read from the system")
	cmd.Flags().StringArrayVar(&f.variant, "variant", nil, "`k=v` for anything else that was changed on purpose (repeatable)")
	cmd.Flags().StringVar(&f.note, "note", "", "`TEXT` to keep with the run")
	newFlag(cmd.Flags(), &f.isNew)
	cmd.Flags().StringVar(&f.room, "room", "", "temperature of the room, `23C` or 73F; holds for the runs after it too, none takes it back")
	cmd.Flags().StringVar(&f.refresh, "refresh", "", "refresh rate of the display where the system does not tell, `120Hz`; holds on, none takes it back")
	cmd.Flags().StringVar(&f.version, "workload-version", "", "`VERSION` of the workload; holds for its runs after this one too, none takes it back")
}

// typed reads the conditions that were typed.
func (f *startFlags) typed() (run.Typed, error) {
	return testday.ParseTyped(f.room, f.refresh, f.version)
}

func (f *startFlags) start() (run.Start, error) {
	variant, err := run.ParseVariantPairs(f.variant)
	if err != nil {
		return run.Start{}, misused(err)
	}
	typed, err := f.typed()
	if err != nil {
		return run.Start{}, err
	}
	return testday.StartRequest{Workload: f.workload, Setting: f.setting, Variant: variant, Note: f.note, By: f.by, Conditions: typed}.Start()
}

// labelFlag is a flag that takes a label, which may not be empty.
type labelFlag struct {
	what string
	text *string
}

var _ pflag.Value = (*labelFlag)(nil)

func (l *labelFlag) Type() string { return "NAME" }

func (l *labelFlag) String() string {
	if l.text == nil {
		return ""
	}
	return *l.text
}

func (l *labelFlag) Set(text string) error {
	*l.text = text
	return run.CheckLabel(l.what, text)
}
