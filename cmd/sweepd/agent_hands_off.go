package main

import (
	"context"
	"errors"
	"time"

	"go.uber.org/zap"

	"sweepd/actuators"
	"sweepd/collectors"
	"sweepd/run"
	"sweepd/testday"
)

// setter is what of this process sets the device: what may be set, what it had before, and
// the guards.
type setter struct {
	first   *actuators.FirstValues
	machine actuators.Machine
	panel   *actuators.Panel
	guards  *testday.Guards
}

// openSetter opens the first values beside the data. What an agent before this one left set
// was put back before, as far as that could be done.
func (a *app) openSetter(c config, dir string, set *collectors.Set, log *zap.Logger) *setter {
	s := &setter{machine: a.machineToSet(), guards: testday.NewGuards(testday.GuardOptions{Limits: c.HandsOff.guards(), HotLimit: set.HotLimit})}
	var err error
	if s.first, err = actuators.OpenFirstValues(dir, actuators.FirstValuesOptions{Root: a.setRoot(), Watch: a.watched(dir, log)}); err != nil {
		log.Error("nothing is set", zap.Error(err))
	}
	s.panel = actuators.NewPanel(actuators.PanelOptions{
		Actuators: machineActuators(collectors.HostRoots(), c), Machine: s.machine, FirstValues: s.first, Allowed: c.HandsOff.allowed(),
	})
	return s
}

// close puts back what is still set, and lets go of the file.
func (s *setter) close() error {
	var err error
	if len(s.first.Pending()) > 0 {
		err = s.panel.Restore(context.Background())
	}
	return errors.Join(err, s.first.Close())
}

// handsOffDay is the day without hands of an agent; nil where the configuration names none.
func (w *watcher) handsOffDay(c config) *testday.HandsOffDay {
	if c.HandsOff == nil {
		return nil
	}
	corrections := testday.CorrectionsWithUnstored(w.data, w.sampler)
	local := &testday.Local{Recorder: w.sampler, Store: corrections, Version: currentVersion(), Lower: c.Lower, Holder: w.holder, Thresholds: w.thresholds}
	return testday.NewHandsOffDay(testday.HandsOffOptions{
		Agent: local,
		Plan: func(ctx context.Context, device string) (testday.Plan, error) {
			return testday.ReadPlanOf(ctx, w.data, device)
		},
		Reject: func(ctx context.Context, id, why string) error {
			return w.sampler.Publish(func() (run.Event, error) {
				d, err := testday.Decide(ctx, corrections, id, run.Reject, why, time.Now())
				return run.Event{Kind: run.RunCorrected, Run: d.Run}, err
			})
		},
		Panel: w.setter.panel, Guards: w.setter.guards, Jobs: testday.NewRunnerLink(w.setter.guards.Heard),
		Workloads: c.commands(), Settle: c.HandsOff.settle(), Tries: c.HandsOff.tries(), Reserve: c.HandsOff.guards().WithDefaults().Reserve, Dir: w.holder.Data,
		Say: func(text string) { w.log.Info("day without hands: " + text) },
	})
}

// startDay goes on with a day that went on before.
func (w *watcher) startDay(ctx context.Context, day *testday.HandsOffDay) {
	if err := day.Start(ctx); err != nil {
		w.log.Error("the day without hands does not go on by itself", zap.Error(err))
	}
}
