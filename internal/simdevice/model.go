package simdevice

import (
	"math"
	"math/rand/v2"
	"slices"
	"time"
)

// timeStep is the model's step in time. Power is constant inside a step; random
// numbers are drawn and controllers act where one begins.
const timeStep = 50 * time.Millisecond

// What every simulated device has in common.
const (
	voltageRatio = 0.55                   // voltage at zero clock over voltage at the highest
	leakScaleC   = 35                     // temperature rise that multiplies leakage by e
	minHz        = 0.4e9                  // lowest clock of the CPUs
	cpuWatts     = 0.12                   // fixed cost of one online CPU under load
	responseTime = 150 * time.Millisecond // time constant of the package following its limit
	standbyW     = 0.4                    // whole system while suspended
	ambientC     = 22                     // temperature around the device
	driftTime    = time.Hour              // time scale of the slow drift of results
)

// model is the physics of the device, without any file.
type model struct {
	cfg    Config
	now    time.Duration // since the start
	limit  limiter
	hot    throttle
	cool   cooler
	supply supply
	packs  []*battery
	cpu    cpuTime
	clock  *clockTable
	play   *play

	online     int     // CPUs
	up         []bool  // which ones
	background float64 // share of every CPU that other processes take
	suspended  bool
	spoil      float64 // factor of the next result; 0 means 1
	brightness float64 // of the display on mains, 0 to 1
	radiosOff  bool
	packsK     float64 // by which the batteries are warmer than the case

	governors, preferences []string // of the CPUs

	ripple, overhead, drift wander
	driftAt                 time.Duration
	rngLoad, rngRipple      *rand.Rand
	rngResult               *rand.Rand
	revert                  reverter

	// Constant in a time step.
	targetW   float64 // what the package tends to
	packageW  float64
	leakW     float64
	dynamicW  float64
	systemW   float64
	overheadW float64
	busy      float64 // mean of the online CPUs
	gpuBusy   float64
	hertz     float64
	gpuHertz  float64

	// Ever since the start, J.
	packageJ, cpuJ, gpuJ, systemJ, mainsJ, lossJ, leakJ float64
	leaptJ                                              float64 // that the package's counter shows beyond its energy
	averageW                                            float64 // W, what power1_average shows
}

func newModel(cfg Config) *model {
	m := &model{
		cfg: cfg, online: cfg.CPUs, up: make([]bool, cfg.CPUs), brightness: 1,
		limit: limiter{floorW: cfg.FloorW, capW: cfg.CapW, boost: cfg.BoostRatio, boostTime: cfg.BoostTime,
			strict: cfg.StrictLimits},
		cool: cooler{capacity: cfg.HeatCapacity, passive: cfg.PassiveWK, byFan: cfg.FanWK,
			startC: cfg.FanStartC, fullC: cfg.FanFullC, ambientC: ambientC, sinkC: ambientC},
		supply: supply{chargerW: cfg.ChargerW, onlineLag: cfg.OnlineLag, statusLag: cfg.StatusLag,
			plugged: cfg.StartOnMains || len(cfg.Batteries) == 0, plugAt: -time.Hour},
		cpu:       newCPUTime(cfg.CPUs),
		clock:     newClockTable(voltageRatio),
		rngLoad:   newRand(cfg.Seed, streamLoad),
		rngRipple: newRand(cfg.Seed, streamRipple),
		rngResult: newRand(cfg.Seed, streamResult),
		revert:    newReverter(cfg),
	}
	m.supply.limitCharge(cfg.ChargeStop)
	m.limit.start(cfg.SettingW)
	for i := range m.up {
		m.up[i] = true
	}
	m.governors = slices.Repeat([]string{defaultGovernor}, cfg.CPUs)
	m.preferences = slices.Repeat([]string{defaultPreference}, cfg.CPUs)
	for i, b := range cfg.Batteries {
		m.packs = append(m.packs, newBattery(b, cfg.Seed, streamGauge+uint64(i)))
	}
	m.drift.x = m.rngResult.NormFloat64()
	m.cool.sinkC += cfg.IdleW / m.cool.conductance()
	m.packageW, m.averageW, m.limit.meanW = cfg.IdleW, cfg.IdleW, cfg.IdleW
	m.begin()
	for _, b := range m.packs {
		b.gauge.refresh(b, m.supply.status(b), m.packC())
	}
	return m
}

// advance lets d pass.
func (m *model) advance(d time.Duration) {
	for d > 0 {
		step := min(d, timeStep-m.now%timeStep)
		m.integrate(step)
		m.now += step
		d -= step
		if m.now%timeStep == 0 {
			m.begin()
		}
	}
}

// begin starts a time step: the controllers act on what the last one left, the
// noise moves on, batteries refresh.
func (m *model) begin() {
	for _, b := range m.packs {
		if b.present && m.now >= b.gauge.next {
			status := m.supply.status(b)
			if m.now-m.supply.plugAt < m.supply.statusLag {
				status = b.gauge.shown.status
			}
			b.gauge.refresh(b, status, m.packC())
			b.gauge.next += b.cfg.Refresh
		}
	}
	m.cpu.average(m.now)
	m.revert.begin(m)
	m.limit.observe(m.packageW)
	die := m.cool.dieC(m.packageW)
	m.cool.steer(die, timeStep)

	allowed := m.limit.allowed()
	allowed = math.Min(allowed, m.hot.regulate(m.now, die, m.packageW, allowed, m.cfg.IdleW))
	ripple := 1 + m.cfg.RippleRatio*m.ripple.step(m.rngRipple, timeStep.Seconds()) // time scale 1 s
	m.overheadW = (m.cfg.OverheadW - m.cfg.DisplayW*(1-m.shownBrightness())) * (1 + m.cfg.OverheadRipple*m.overhead.step(m.rngRipple, timeStep.Seconds()/5))

	m.targetW = math.Min(m.demand(die), allowed*ripple)
	if m.suspended || m.supply.off {
		m.targetW, m.packageW = 0, 0
	}
	m.packageW = relax(m.packageW, m.targetW, timeStep, responseTime)
	m.settle()
}

// demand is the package power that the load asks for, W; it also moves the load on.
func (m *model) demand(dieC float64) float64 {
	level := 0.0
	idle := m.cfg.IdleW - m.cfg.LeakW + leakWatts(m.cfg.LeakW, leakScaleC, dieC)
	demand := idle
	if p := m.play; p != nil {
		p.level = math.Min(1.2, p.workload.Load.level(m.now-p.started)*p.workload.Load.fluctuate(&p.load, m.rngLoad))
		level = p.level
		demand += level * (p.workload.DemandW - m.cfg.IdleW)
	}
	// Other processes want what a full load of all CPUs would take of them.
	demand += m.background * 0.5 * m.cfg.MaxDynamicW * (1 - math.Min(level, 1)*0.5)
	return demand
}

// settle works out everything that follows from the package's power. It draws
// nothing, so controls may call it in the middle of a time step.
func (m *model) settle() {
	systemW := m.overheadW + m.cfg.OverheadSlope*m.packageW
	if m.suspended {
		systemW = standbyW
	}
	wasOff := m.supply.off
	if wasOff && !m.supply.plugged {
		systemW = 0
	}
	m.systemW = m.supply.feed(systemW, m.packs)
	if wasOff && !m.supply.plugged {
		m.supply.off = true // it does not come back by itself
	}
	if m.supply.off {
		m.packageW = 0
	}
	m.leakW = math.Min(leakWatts(m.cfg.LeakW, leakScaleC, m.cool.dieC(m.packageW)), m.packageW)
	m.dynamicW = m.packageW - m.leakW
	m.settleClock()
	if m.play != nil {
		m.play.rate = m.rate(m.play)
	}
}

// settleClock works out the clocks and what is busy.
func (m *model) settleClock() {
	level, share, gpu := 0.0, 0.0, 0.0
	if p := m.play; p != nil {
		level = math.Min(p.level, 1)
		share = level * math.Min(float64(p.workload.Threads), float64(m.online)) / float64(m.online)
		gpu = p.workload.GPU
	}
	busy := math.Min(0.01+share+m.background, 1)
	idleDynamic := math.Max(0, m.cfg.IdleW-m.cfg.LeakW)
	spent := math.Max(0, m.dynamicW-idleDynamic)
	cpuMax := m.cfg.MaxDynamicW * (1 - gpu) * busy * float64(m.online) / float64(m.cfg.CPUs)
	m.hertz = math.Max(minHz, m.cfg.MaxHz*m.clock.at(spent*(1-gpu)/math.Max(cpuMax, 1e-9)))
	if level == 0 && m.background == 0 {
		m.hertz = minHz
	}
	m.gpuBusy = 0
	if gpu > 0 {
		m.gpuBusy = 0.97 * level
		m.gpuHertz = math.Max(gpuMinHz, gpuMaxHz*m.clock.at(spent/m.cfg.MaxDynamicW/math.Max(level, 1e-9)))
	} else {
		m.gpuHertz = gpuMinHz
	}
}

// Clock range of the graphics.
const (
	gpuMinHz = 200e6
	gpuMaxHz = 2200e6
)

// rate is the rate of the workload in this time step, without the run's noise.
func (m *model) rate(p *play) float64 {
	if m.suspended || m.supply.off {
		return 0
	}
	// Leakage beyond the reference is lost to the work; what offline CPUs would
	// have cost is won for it.
	watts := m.packageW - (m.leakW - m.cfg.LeakW) + cpuWatts*float64(m.cfg.CPUs-m.online)
	rate := p.curve.rate(watts) * p.parallel * m.cfg.dipAt(m.limit.settingW)
	if !m.supply.plugged {
		rate *= m.cfg.BatteryLoss.lossAt(m.packageW)
	}
	return rate * (1 - 0.6*m.background) * math.Min(p.level, 1)
}

// integrate lets d pass, at most to the end of the time step.
func (m *model) integrate(d time.Duration) {
	s := d.Seconds()
	m.packageJ += m.packageW * s
	m.leakJ += m.leakW * s
	gpu := 0.0
	if m.play != nil {
		gpu = m.play.workload.GPU
	}
	m.gpuJ += gpu * m.dynamicW * s
	m.cpuJ += (1 - gpu) * m.dynamicW * s
	m.systemJ += m.systemW * s
	m.mainsJ += m.supply.mainsW * s
	m.lossJ += m.supply.lossW * s
	m.averageW = relax(m.averageW, m.packageW, d, 250*time.Millisecond)
	m.cool.heat(m.packageW, d)
	for _, b := range m.packs {
		b.pass(d)
	}
	m.countCPUTime(d)
	if m.play != nil {
		m.play.pass(m.packageW, d)
	}
}

// countCPUTime lets the CPUs' clocks count d; they stand still in suspend.
func (m *model) countCPUTime(d time.Duration) {
	if m.suspended || m.supply.off {
		return
	}
	threads, level := 0, 0.0
	if m.play != nil {
		threads, level = m.play.workload.Threads, math.Min(m.play.level, 1)
	}
	m.busy = m.cpu.pass(d, m.up, threads, level, m.background)
}

// dieC is the temperature of the die, degrees Celsius.
func (m *model) dieC() float64 { return m.cool.dieC(m.packageW) }

// caseC is the temperature of the case and the battery, halfway to the sink.
func (m *model) caseC() float64 { return (m.cool.ambientC + m.cool.sinkC) / 2 }

// packC is the temperature that the batteries show.
func (m *model) packC() float64 { return m.caseC() + m.packsK }

// start begins a workload.
func (m *model) start(w Workload) {
	w = w.withDefaults(m.cfg.CPUs)
	ratio := float64(m.now-m.driftAt) / float64(driftTime)
	if m.driftAt = m.now; ratio > 0 {
		m.drift.step(m.rngResult, ratio)
	}
	p := &play{workload: w, curve: m.cfg.curve(w.Name), started: m.now, seed: m.rngResult.Uint64()}
	p.factor = math.Exp(m.cfg.NoiseCV*m.rngResult.NormFloat64() + m.cfg.DriftCV*m.drift.x)
	if m.spoil > 0 {
		p.factor, m.spoil = p.factor*m.spoil, 0
	}
	p.level = w.Load.level(0)
	p.load.x = m.rngLoad.NormFloat64()
	m.play = p
	m.setParallel()
	m.settle()
}

func (m *model) setParallel() {
	if p := m.play; p != nil {
		p.parallel = speedup(p.workload.Parallel, m.online) / speedup(p.workload.Parallel, m.cfg.CPUs)
	}
}

// plug changes the supply at once.
func (m *model) plug(on bool) {
	if m.supply.plugged == on {
		return
	}
	m.supply.plugged = on
	m.supply.plugAt = m.now
	if on {
		m.supply.off = false
	}
	if m.cfg.Reverts.OnPlug {
		m.revert.now(m)
	}
	m.settle()
	for _, b := range m.packs {
		b.gauge.restart()
	}
}
