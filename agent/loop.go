package agent

import (
	"context"
	"errors"
	"sync"
	"time"

	"go.uber.org/zap"

	"sweepd/internal/alarm"
	"sweepd/run"
)

// Run samples until ctx ends. First it judges the runs that a crash left
// behind. A run that is recording at the end is stored as interrupted.
func (a *Agent) Run(ctx context.Context) (err error) {
	if a.opts.Stepped {
		return errors.New("a stepped agent has no loop: call Step")
	}
	p, err := newPacer()
	if err != nil {
		return err
	}
	a.mu.Lock()
	a.pacer = p
	a.mu.Unlock()
	p.Wake() // for mail that came before there was a pacer to wake
	if err := a.Restore(ctx); err != nil {
		a.log.Error("runs left behind by a crash could not be stored; it is tried again", zap.Error(err))
	}
	background, stop := context.WithCancel(context.Background())
	var helpers sync.WaitGroup
	helpers.Go(func() { a.slowLane(background) })
	helpers.Go(func() { a.commandLane(background) })
	helpers.Go(func() { a.factsLane(background) })
	helpers.Go(func() { a.writer(background) })
	helpers.Go(func() { a.keepTrying(background) })
	if a.opts.Guard != nil {
		helpers.Go(func() { a.guardLane(background) })
	}
	helpers.Go(func() { _ = a.SweepIdle(background) }) // so that there is something to show at once; fails only at the end
	defer context.AfterFunc(ctx, a.wake)()

	err = a.loop(ctx)
	// The last data is written under a context that the cancel does not reach.
	err = errors.Join(err, a.interrupt(context.WithoutCancel(ctx)))
	stop()
	helpers.Wait()
	return errors.Join(err, p.Close())
}

func (a *Agent) loop(ctx context.Context) error {
	for {
		ticked, err := a.pacer.Wait()
		if err != nil {
			return err
		}
		if ctx.Err() != nil {
			return nil
		}
		a.readMail()
		if ticked {
			if err := a.tick(ctx); err != nil {
				a.log.Error("sweep failed", zap.Error(err))
			}
		}
	}
}

// tick takes the sweep that is due.
func (a *Agent) tick(ctx context.Context) error {
	switch {
	case a.run != nil:
		a.readBeforeSweep(ctx)
		return a.sweep(a.opts.Clock.Now(), sweepPaced)
	case a.afterRun:
		return a.sweepAfterRun()
	}
	return nil
}

func (a *Agent) readMail() {
	for {
		select {
		case f := <-a.mail:
			f()
		default:
			return
		}
	}
}

// wake makes the loop look at its mail.
func (a *Agent) wake() {
	a.mu.Lock()
	p := a.pacer
	a.mu.Unlock()
	if p != nil {
		p.Wake()
	}
}

// writer stores full batches. It is woken by the sampling goroutine, or, where that is
// held up in a run, by the time.
func (a *Agent) writer(ctx context.Context) {
	late := alarm.New()
	defer late.Close()
	for {
		select {
		case <-ctx.Done():
			return
		case <-a.store:
			_ = a.batcher.flush(ctx, false) // said by the batcher, and tried again
			if a.batcher.inRun() {
				late.Set(keepWithin - leastWriting)
			}
		case <-late.Rang():
			_ = a.batcher.flush(ctx, true)
		}
	}
}

// laneRequest asks a lane for a pass; done, if not nil, is closed after it.
type laneRequest struct {
	now  time.Duration
	done chan struct{}
}

// slowLane reads the sensors that are too slow or too lazy for the pacing path.
func (a *Agent) slowLane(ctx context.Context) {
	var scanned time.Duration
	for {
		select {
		case <-ctx.Done():
			return
		case r := <-a.slowRequests:
			scanned = a.readSlow(r.now, scanned)
			if r.done != nil {
				close(r.done)
			}
		}
	}
}

// rescanEvery is how often sources that came or went are looked for.
const rescanEvery = 5 * time.Second

func (a *Agent) readSlow(now, scanned time.Duration) time.Duration {
	a.opts.Sensors.ReadSlow(now)
	if now-scanned < rescanEvery {
		return scanned
	}
	a.opts.Sensors.Rescan(now)
	return now
}

// edgeWait is how long a run's edge waits for the slow sensors.
const edgeWait = 250 * time.Millisecond

// refresh has the slow sensors read and the command asked, and waits for it a
// little: an edge should not carry values of ten seconds ago, and may not hang on
// a controller or a command.
func (a *Agent) refresh(ctx context.Context) {
	now := a.opts.Clock.Now().Mono
	if a.opts.Stepped {
		a.shared.scanned = a.readSlow(now, a.shared.scanned)
		a.askCommand(ctx)
		return
	}
	ctx, cancel := context.WithTimeout(ctx, edgeWait)
	defer cancel()
	asked := laneRequest{now: now, done: make(chan struct{})}
	if !offer(a.commandRequests, asked) { // none configured, or it is at work on an earlier one
		close(asked.done)
	}
	r := laneRequest{now: now, done: make(chan struct{})}
	select {
	case a.slowRequests <- r:
	case <-ctx.Done():
		return
	}
	for _, done := range []chan struct{}{r.done, asked.done} {
		select {
		case <-done:
		case <-ctx.Done():
		}
	}
}

// rareSweeps is the interval from which slow sensors are read before each sweep,
// not after it, since they would else be as old as the interval.
const rareSweeps = 2 * time.Second

func (a *Agent) readBeforeSweep(ctx context.Context) {
	if a.opts.Interval >= rareSweeps {
		a.refresh(ctx)
	}
}

// Step does what is due at the clock's present time, in stepped mode: at most
// one sweep, however much time went by.
func (a *Agent) Step() error {
	if !a.opts.Stepped {
		return errors.New("agent is not stepped: its own loop samples")
	}
	now := a.opts.Clock.Now()
	if now.Mono >= a.nextTick {
		for a.nextTick <= now.Mono {
			a.nextTick += a.opts.Interval
		}
		swept := a.last.Mono
		if err := a.tick(context.Background()); err != nil || a.last.Mono != swept {
			return err
		}
	}
	return a.stepGuard(now)
}

// interrupt ends the run that is recording when the agent stops, and tries for the last
// time to store what could not be stored.
func (a *Agent) interrupt(ctx context.Context) error {
	if a.run == nil {
		return errors.Join(a.batcher.flush(ctx, true), a.StoreEnded(ctx))
	}
	ended, err := a.endRun(run.Stop{})
	ended.Record.State = run.Interrupted
	a.unstored.add(&endedRun{Ended: ended})
	a.log.Warn("the agent stops while a run is recording; the run is kept as interrupted", zap.String("run", ended.Record.ID))
	return errors.Join(err, a.StoreEnded(ctx))
}
