package testday

import (
	"cmp"
	"errors"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"sweepd/agent"
	"sweepd/judge"
	"sweepd/run"
)

// guardEvery is how often guards want a sweep: half of the second that is promised, since
// what is read may be as old again.
const guardEvery = 500 * time.Millisecond

// Guards watch the sweeps of an agent while something is set that the day set: what they
// find has the first values put back. They have no smoothing: a single sweep above a limit
// trips, though it be a sensor that jumped, since a pause costs less than a device. What lies
// beyond physics is missing already, and counts as that (see collectors). All waiting is on
// the clock that stands still while the machine sleeps.
//
// *Guards is the agent's Guard and the day's GuardWatch.
type Guards struct {
	o       GuardOptions
	every   atomic.Int64 // 0 while disarmed
	changed func()

	mu      sync.Mutex
	sensors []run.Sensor // of the latest sweep
	values  []float64
	at      run.Instant
	in      run.Labels
	armed   *armedGuards // nil while nobody relies on them
	supply  supplyGuard
	runner  runnerGuard
}

// GuardOptions are those of NewGuards.
type GuardOptions struct {
	Limits GuardLimits
	// HotLimit is the temperature that the driver of the sensor at a position of the sweeps
	// states as too hot, °C, NaN where it states none; *collectors.Set has it. nil: none does.
	HotLimit func(i int) float64
	// Now tells the time as the agent's clock does; nil: the system's.
	Now func() run.Instant
}

// NewGuards are guards that are not armed.
func NewGuards(o GuardOptions) *Guards {
	o.Limits = o.Limits.WithDefaults()
	if o.Now == nil {
		o.Now = agent.SystemClock{}.Now
	}
	return &Guards{o: o, changed: func() {}, runner: runnerGuard{allowed: o.Limits.Runner}}
}

var (
	_ agent.Guard = (*Guards)(nil)
	_ GuardWatch  = (*Guards)(nil)
)

// WithDefaults fills in what is not set. The defaults are common practice, no source: that
// of the battery's temperature is the range in which lithium-ion cells are commonly charged.
func (l GuardLimits) WithDefaults() GuardLimits {
	l.Temperature = cmp.Or(l.Temperature, 95)
	l.Reserve = cmp.Or(l.Reserve, 0.1)
	if l.BatteryTemperature == [2]float64{} {
		l.BatteryTemperature = [2]float64{0, 45}
	}
	l.SensorGone = cmp.Or(l.SensorGone, time.Second)
	l.Runner = cmp.Or(l.Runner, 5*time.Second)
	return l
}

// guard is one thing that is watched.
type guard interface {
	// look says why it trips at a sweep, nil where all is well.
	look(s *sight) *Tripped
}

// sight is a sweep as guards see it.
type sight struct {
	at      run.Instant
	values  []float64
	in      run.Labels
	resumed bool // the machine slept since the sweep before
}

// armedGuards are the guards from Arm to Disarm, or until one trips.
type armedGuards struct {
	trip  func(Tripped)
	list  []guard
	since time.Duration // monotonic
	timer *time.Timer   // of sweeps that do not come
	sight sight
}

// Every and Notify are those of agent.Guard.
func (g *Guards) Every() time.Duration  { return time.Duration(g.every.Load()) }
func (g *Guards) Notify(changed func()) { g.changed = changed }

// Arm guards what the latest sweep has: the sensors that give a value then are those that
// have to go on giving one, and those that come later too. It fails where nothing was swept
// yet, where there is no temperature of the processor, and where a battery does not say how
// full it is; the error is a *TrippedError where they would trip at that sweep. Where they are
// armed already they stay so, and trip is the new one.
func (g *Guards) Arm(trip func(Tripped)) error {
	g.mu.Lock()
	sensors, latest := g.sensors, sight{at: g.at, values: slices.Clone(g.values), in: g.in}
	if g.armed != nil {
		g.armed.trip = trip
		g.mu.Unlock()
		return nil
	}
	g.mu.Unlock()
	if len(latest.values) == 0 {
		return errors.New("nothing can be guarded, since no sensor was read yet: try again in a moment")
	}
	index := judge.NewSensorIndex(sensors)
	list, err := g.guardsOf(&index, &latest)
	if err != nil {
		return err
	}
	now := g.o.Now()
	g.mu.Lock()
	if g.armed == nil {
		a := &armedGuards{list: list, since: now.Mono}
		a.timer = time.AfterFunc(sweepsLate, func() { g.awaitSweep(a) })
		g.armed = a
		g.supply.batteries, g.supply.lost = index.Batteries, false
		g.every.Store(int64(guardEvery))
	}
	g.armed.trip = trip
	g.mu.Unlock()
	g.changed()
	return nil
}

// guardsOf are the guards of a machine by its latest sweep.
func (g *Guards) guardsOf(index *judge.SensorIndex, latest *sight) ([]guard, error) {
	thermal, err := newTemperatureGuard(index, latest.values, g.o.Limits.Temperature, g.o.HotLimit)
	if err != nil {
		return nil, err
	}
	battery, err := newBatteryGuard(index, latest.values, g.o.Limits)
	if err != nil {
		return nil, err
	}
	gone, still := newSensorGuard(index, thermal, battery, g.o.Limits.SensorGone), newStillGuard(index, thermal)
	// What there is, and where it stands, before anything is set.
	gone.look(latest)
	still.look(latest)
	for _, each := range []guard{thermal, battery} {
		if t := each.look(latest); t != nil {
			t.At = latest.at
			return nil, &TrippedError{*t}
		}
	}
	return []guard{thermal, battery, gone, still, &g.supply, &g.runner}, nil
}

// Disarm ends guarding. Doing it twice is doing it once.
func (g *Guards) Disarm() {
	g.mu.Lock()
	a := g.disarmLocked()
	g.mu.Unlock()
	if a != nil {
		g.changed()
	}
}

func (g *Guards) disarmLocked() *armedGuards {
	a := g.armed
	if a != nil {
		g.armed = nil
		g.every.Store(0)
		a.timer.Stop()
	}
	return a
}

// tripLocked disarms and tells. It waits for nobody.
func (g *Guards) tripLocked(t Tripped) {
	a := g.disarmLocked()
	t.Text = run.Visible(t.Text) // drivers name sensors
	go func() {
		g.changed()
		a.trip(t)
	}()
}

// Observe is that of agent.Guard.
func (g *Guards) Observe(at run.Instant, sensors []run.Sensor, values []float64, in run.Labels) {
	g.mu.Lock()
	defer g.mu.Unlock()
	slept := at.Boot - at.Mono - (g.at.Boot - g.at.Mono)
	g.sensors, g.at, g.in = sensors, at, in
	g.values = append(g.values[:0], values...)
	a := g.armed
	if a == nil {
		return
	}
	a.sight = sight{at: at, values: g.values, in: in, resumed: slept > time.Second}
	for _, each := range a.list {
		if t := each.look(&a.sight); t != nil {
			t.At = at
			g.tripLocked(*t)
			return
		}
	}
}

// Expect, RunnerBusy and Heard are those of GuardWatch.
func (g *Guards) Expect(s run.Supply) {
	g.mu.Lock()
	defer g.mu.Unlock()
	g.supply.expected, g.supply.lost = s, false
}

func (g *Guards) RunnerBusy(is bool) {
	g.Heard()
	g.mu.Lock()
	defer g.mu.Unlock()
	g.runner.busy = is
}

func (g *Guards) Heard() {
	now := g.o.Now().Mono
	g.mu.Lock()
	defer g.mu.Unlock()
	g.runner.heard = max(g.runner.heard, now)
}
