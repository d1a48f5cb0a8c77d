package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"slices"

	"github.com/spf13/cobra"

	"sweepd/actuators"
	"sweepd/collectors"
	"sweepd/report/sentence"
	"sweepd/report/text"
	"sweepd/run"
	"sweepd/testday"
)

// restoreFlags are those of a restore.
type restoreFlags struct {
	giveUp     bool
	afterAgent bool       // the service manager asks, when the agent has ended
	watch      bool       // the agent asks: wait until it dies
	ofAgent    agentFlags // the agent's options, which mean nothing here
}

func (a *app) actuatorsRestoreCommand() *cobra.Command {
	var f restoreFlags
	cmd := &cobra.Command{
		Use:   "restore",
		Short: "Put back what sweepd set and did not put back itself",
		Long: `Put back the first values: what power limits, profiles and processors had before
sweepd set them. sweepd does so itself at the end of a day without hands, on an
error, and first thing when it starts again; its service does so when the agent was
killed. This command is for what is left then, and it may be given at any time: where
nothing was set it does nothing. While a day without hands goes on it refuses:
"sweepd plan stop" ends the day and puts back.

What cannot be put back is told with the reason and with what to type by hand.
--give-up then forgets it: it stays as it is, until the device is started anew or
somebody sets it.`,
		Example: `  sudo sweepd actuators restore              what the system's agent left
  sweepd actuators restore --data DIR        what an agent that kept its data in DIR left`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if f.watch && waitForEnd(a.in) {
				return nil
			}
			return a.restoreActuators(cmd.Context(), f)
		},
	}
	cmd.Flags().BoolVar(&f.giveUp, "give-up", false, "forget what cannot be put back; it stays as it is")
	cmd.Flags().BoolVar(&f.afterAgent, "after-agent", false, "say nothing where nothing was set; options of the agent are taken, and mean nothing")
	cmd.Flags().BoolVar(&f.watch, "watch-agent", false, "wait until the agent that started this dies")
	f.ofAgent.add(cmd)
	for _, name := range append([]string{"after-agent", "watch-agent"}, agentFlagNames...) {
		if cmd.Flags().Lookup(name) != nil {
			_ = cmd.Flags().MarkHidden(name) // it is there
		}
	}
	return cmd
}

// restored is what a restore did, as JSON.
type restored struct {
	Folder   string            `json:"folder"`
	Restored []actuators.Write `json:"restored"` // was is what each has again
	Left     []notRestored     `json:"left"`     // what could not be put back
	GivenUp  []actuators.Write `json:"given_up"`
}

type notRestored struct {
	actuators.Write
	Why    string `json:"why"`
	ByHand string `json:"by_hand"`
	text   string
}

func (a *app) restoreActuators(ctx context.Context, f restoreFlags) error {
	c, unreadable := a.config()
	dir, from := a.dataDirFrom(c)
	var err error
	if _, err := os.Stat(dir); errors.Is(err, fs.ErrNotExist) && namesFolder(from) && !f.afterAgent {
		return fmt.Errorf("%s: no such folder", dir)
	}
	var unheard error
	if !f.afterAgent {
		if dir, unheard, err = a.whereSet(ctx, dir, from); err != nil {
			return err
		}
	}
	var r restored
	if r, err = a.restoreIn(ctx, dir, f.giveUp); err == nil && unreadable != nil && !namesFolder(from) {
		// Its data: may name another folder.
		err = fmt.Errorf("%w\nOnly %s was looked at: name the agent's folder with --data DIR where it is another", unreadable, dir)
	}
	if err == nil && unheard != nil && len(r.Restored)+len(r.GivenUp) == 0 {
		err = fmt.Errorf("%s has no first value of anything that sweepd set, but %w", dir, unheard)
	}
	if a.json {
		return errors.Join(a.printJSON(r), err)
	}
	p := a.printer()
	if f.afterAgent { // for a log, whose lines are not broken
		p.Options = text.Options{Unlimited: true, Width: math.MaxInt32}
	}
	for _, w := range r.Restored {
		p.Say(putBackText(w), "  ", toneGood)
	}
	for _, x := range r.Left {
		if x.text != "" { // else another process has it set, and means it
			p.Say(run.Visible(x.text), "  ", toneBad)
		}
	}
	for _, w := range r.GivenUp {
		p.Say(fmt.Sprintf("%s is given up: it stays as it is, its first value was %s", w.Place(), w.Was), "  ", toneDoubt)
	}
	if err == nil && len(r.Restored)+len(r.GivenUp) == 0 && !f.afterAgent {
		p.Say(fmt.Sprintf("nothing to put back: %s has no first value of anything that sweepd set%s", dir, elsewhereHint(from)), "", text.Plain)
	}
	return errors.Join(p.Err, err)
}

// whereSet is the folder to look into: that of the agent that answers, unless one was named.
// It fails where that agent's day has things set that are meant to be; what the agent
// itself cannot put back is tried here. unheard says that an agent was named and does not
// answer.
func (a *app) whereSet(ctx context.Context, dir, from string) (folder string, unheard, err error) {
	at := respondent{folder: dir, from: from}
	if err := a.findAgent(ctx, &at); err != nil || at.agent == nil { // the folder alone
		if namesFolder(from) {
			err = nil
		}
		return dir, err, nil
	}
	if namesFolder(from) {
		if is, err := filepath.Abs(dir); err != nil || filepath.Clean(at.folder) != is {
			return dir, nil, nil
		}
	}
	day, err := at.agent.HandsOff(ctx)
	meant := slices.Contains([]testday.HandsOffState{testday.Setting, testday.Settling, testday.Running, testday.Cooling}, day.State)
	if n := len(day.Changed); err == nil && n > 0 && meant {
		return at.folder, nil, fmt.Errorf("the agent at %s has %s set for a day without hands: `sweepd plan stop --now` ends the day and puts back, `sweepd plan pause` puts back after the run in progress",
			at.agent.URL(), sentence.Counted(n, "place"))
	}
	return at.folder, nil, nil
}

// elsewhereHint says how to look elsewhere, where no folder was named.
func elsewhereHint(from string) string {
	if namesFolder(from) {
		return ""
	}
	return " (another folder: --data DIR)"
}

// putBackText says that a place has its first value again.
func putBackText(w actuators.Write) string {
	s := fmt.Sprintf("%s has its first value again: %s", w.Place(), w.Was)
	if !actuators.SameText(w.Text, w.Was, 0) {
		s += ", after " + w.Text
	}
	return run.Visible(s)
}

// restoreIn puts back what is left in a folder.
func (a *app) restoreIn(ctx context.Context, dir string, giveUp bool) (restored, error) {
	r := restored{Folder: dir, Restored: []actuators.Write{}, Left: []notRestored{}, GivenUp: []actuators.Write{}}
	first, err := actuators.OpenFirstValues(dir, actuators.FirstValuesOptions{Root: a.setRoot()})
	if err != nil {
		return r, err
	}
	defer first.Close()
	damaged := first.Damaged()
	back, err := first.Restore(ctx, a.machineToSet())
	r.Restored = append(r.Restored, back...)
	var left *actuators.NotRestoredError
	var elsewhere *actuators.SetElsewhereError
	if errors.As(err, &elsewhere) {
		for _, w := range first.Pending() {
			r.Left = append(r.Left, notRestored{Write: w, Why: err.Error(), ByHand: w.ByHand()})
		}
	}
	if errors.As(err, &left) {
		for _, x := range left.Left {
			r.Left = append(r.Left, notRestored{x.Write, x.Err.Error(), x.Write.ByHand(), x.String()})
		}
		err = fmt.Errorf("%s not back", sentence.Counted(len(left.Left), "place"))
		if giveUp {
			var given []actuators.Write
			given, err = first.GiveUp(ctx)
			r.GivenUp = append(r.GivenUp, given...)
		}
	}
	if damaged > 0 {
		err = errors.Join(err, fmt.Errorf("%d first values in %s are damaged and nobody can put them back: look at the lines of %s.damaged, and start the device anew, which has most things as they were",
			damaged, first.Path(), first.Path()))
	}
	return r, err
}

// machineToSet is what things are set on: this computer, or a demonstration's.
func (a *app) machineToSet() actuators.Machine {
	if a.machine != nil {
		return a.machine
	}
	c, _ := a.config() // a bad one has the command's time by default
	return actuators.Host{Sys: collectors.HostRoots().Sys, Run: runBounded(c.commandTimeout())}
}

// setRoot is the folder whose lock only one process has that sets anything: that of what
// is set. A demonstration's is in HOST_SYS, as its sensors are.
func (a *app) setRoot() string { return collectors.HostRoots().Sys }
