package agent

import (
	"context"
	"errors"
	"fmt"
	"math"
	"sync"
	"sync/atomic"
	"time"

	"go.uber.org/zap"

	"sweepd/judge"
	"sweepd/run"
)

// Agent samples one device. Its methods may be called from any goroutine once
// Run goes; in stepped mode all calls come from one goroutine.
type Agent struct {
	Events

	opts         Options
	name         atomic.Pointer[string] // of the device; Rename changes it
	log          *zap.Logger
	batcher      batcher
	pacer        pacer
	mail         chan func()
	slowRequests chan laneRequest
	store        chan struct{}

	factsRequests chan *factsReading

	commandRequests chan laneRequest // nil where no command is configured
	command         commandState

	made           run.Instant   // when
	readingHistory chan struct{} // held while what was stored before is read
	historyRead    atomic.Bool   // the baseline has it, or cannot have it

	// What the sampling goroutine owns.
	index    judge.SensorIndex
	run      *recording
	declared run.Declaration
	labels   run.Labels
	last     run.Instant
	prev     []float64
	prevOut  float64 // discharge at the last sweep
	nextTick time.Duration
	afterRun bool // the first idle sweep after a run is still to come
	meter    dischargeMeter
	baseline judge.Baseline
	looked   time.Duration // when a look last counted as an idle sweep, on the boot clock
	hastened time.Duration // stepped mode: how often the guard wanted a sweep last

	guardChanged chan struct{} // the guard may want sweeps at other times

	unstored unstored

	declaring sync.Mutex // held while a declaration is made and stored

	mu     sync.Mutex // guards shared, for Snapshot
	shared shared
}

// recording is the run in progress.
type recording struct {
	record  run.Record
	started run.Instant
	sweeps  int // taken so far
	typed   run.Typed
	awaits  *factsReading // facts that were not there yet when it began; nil: none
}

// New checks the options. Sampling starts with Run (or Step).
func New(opts Options) (*Agent, error) {
	if err := run.CheckLabel("device name", opts.Device); err != nil {
		return nil, err
	}
	if opts.Sensors == nil || opts.Recorder == nil {
		return nil, errors.New("agent needs sensors and a recorder")
	}
	if opts.Interval == 0 {
		opts.Interval = DefaultInterval
	}
	if opts.Interval < MinInterval || opts.Interval > MaxInterval {
		return nil, fmt.Errorf("sampling interval %v: must be from %v to %v", opts.Interval, MinInterval, MaxInterval)
	}
	if opts.Clock == nil {
		opts.Clock = SystemClock{}
	}
	if opts.NewID == nil {
		opts.NewID = func(t time.Time) (string, error) { return run.NewID(t, nil) }
	}
	if opts.Log == nil {
		opts.Log = zap.NewNop()
	}
	a := &Agent{
		opts:           opts,
		log:            opts.Log,
		mail:           make(chan func(), 16),
		slowRequests:   make(chan laneRequest, 1),
		store:          make(chan struct{}, 1),
		factsRequests:  make(chan *factsReading, 1),
		made:           opts.Clock.Now(),
		readingHistory: make(chan struct{}, 1),
		prevOut:        math.NaN(),
	}
	if opts.Guard != nil {
		a.guardChanged = make(chan struct{}, 1)
		opts.Guard.Notify(func() { offer(a.guardChanged, struct{}{}) })
	}
	if opts.ReadSetting != nil {
		a.commandRequests = make(chan laneRequest, 1)
	}
	a.name.Store(&opts.Device)
	a.inline = opts.Stepped
	a.batcher = batcher{recorder: opts.Recorder, interval: opts.Interval, events: &a.Events, log: opts.Log}
	a.unstored.init(opts.Journal, opts.Left)
	a.labels = run.Labels{Device: opts.Device}
	a.declared = opts.Declared
	if a.declared.Setting.Known() {
		a.declared.Restarted = a.declared.At.Before(opts.MachineStarted)
		a.labels.Setting = a.declared.Setting.From(run.Declared)
	}
	a.shared.labels, a.shared.declared = a.labels, a.declared
	return a, nil
}

// SweepIdle takes one sweep between runs. It does nothing while a run is
// recording.
func (a *Agent) SweepIdle(ctx context.Context) error {
	a.refresh(ctx)
	return a.do(ctx, func() error {
		if a.run != nil {
			return nil
		}
		return a.sweep(a.opts.Clock.Now(), sweepIdle)
	})
}

// do runs f on the sampling goroutine and waits for it. Where ctx ends first, f
// does not run at all.
func (a *Agent) do(ctx context.Context, f func() error) error {
	if a.opts.Stepped {
		return f()
	}
	done := make(chan error, 1)
	var taken atomic.Bool // by the sampling goroutine, or by the end of ctx
	select {
	case a.mail <- func() {
		if taken.CompareAndSwap(false, true) {
			done <- f()
		}
	}:
	case <-ctx.Done():
		return ctx.Err()
	}
	a.wake()
	select {
	case err := <-done:
		return err
	case <-ctx.Done():
		if taken.CompareAndSwap(false, true) {
			return ctx.Err()
		}
		return <-done
	}
}
