package main

import (
	"context"
	"errors"
	"net"

	"sweepd/console"
	"sweepd/run"
	"sweepd/schedule"
	"sweepd/testday"
)

// serve samples and answers until the context ends or a part fails. Then, in
// this order: requests in progress finish, what is scheduled ends and no more idle
// sweeps are asked for, the sampling ends and stores its last, and what follows from runs is dropped.
func (w *watcher) serve(ctx context.Context, c config, ls []net.Listener, manager *supervision) error {
	serving, stopServing := context.WithCancel(ctx)
	defer stopServing()
	sampling, stopSampling := context.WithCancel(context.WithoutCancel(ctx))
	defer stopSampling()
	defer w.following.Wait()
	defer w.sampler.Subscribe(w.onEvent).Close()
	defer w.stop()
	idle, err := schedule.StartIdleSweeps(c.Idle, w.sampler, w.log)
	if err != nil {
		return err
	}
	stopSchedule, err := w.startSchedule(sampling, c)
	if err != nil {
		idle.Stop()
		return err
	}
	w.following.Go(func() { w.compare(run.Run{}) }) // what earlier runs say is exposed from the start
	sampled := make(chan error, 1)
	go func() {
		sampled <- w.sampler.Run(sampling)
		stopServing()
	}()
	w.following.Go(func() { manager.run(w.background) })
	w.following.Go(func() { restoreLeft(w.background, w.setter.first, w.setter.machine, w.log) })
	day := w.handsOffDay(c)
	var handsOff testday.HandsOffAgent
	if day != nil {
		handsOff = day
		w.startDay(sampling, day)
		defer context.AfterFunc(serving, day.Close)() // at once, whoever is still being answered
	}
	handler := console.New(console.Options{
		HandsOff: handsOff,
		Agent:    w.sampler, Store: w.data, Machine: w.set, Metrics: w.metrics.Handler(), Hosts: c.Hosts,
		Lower: c.Lower, FramesShort: c.Thresholds.FramesShort, Thresholds: c.Thresholds.forJudge(), Version: currentVersion(), Log: w.log,
		Prices: c.Prices, Published: c.Report.publication(), Token: w.token, Holder: w.holder, Open: w.open,
		Actuators:     actuatorOffers(c),
		MetricsClosed: c.Metrics == metricsClosed, Paired: w.paired,
		Reach: func() console.Reach { return console.ReachOf(ls, c.WebConfigFile, w.certificate) },
	})
	err = console.Serve(serving, ls, handler, c.WebConfigFile, w.certificate, slogger(w.log))
	manager.stopping()
	if day != nil {
		day.Close()
	}
	stopSchedule()
	idle.Stop()
	stopSampling()
	return errors.Join(err, <-sampled)
}
