package judge

import (
	"math"
	"slices"
	"time"

	"gonum.org/v1/gonum/stat/distuv"

	"sweepd/run"
)

// dischargeEstimate finds the mean discharge of a run in two ways: from the
// power that the batteries report and from the fall of their content. A gauge
// refreshes its values about once a second while sweeps are faster, so the fall
// counts only from change to change: between the first and the last sweep at
// which the content changed. Where it stepped (see ContentWatch) the fall counts in
// pieces, from step to step.
type dischargeEstimate struct {
	batteries []batteryTrack
}

// estimate is a value with its standard uncertainty.
type estimate struct {
	watts, u float64
	ok       bool
}

// batteryTrack follows one battery through a run.
type batteryTrack struct {
	b          BatteryIndex
	resolution float64 // of the reported power, W

	n            int        // sweeps at which the battery said anything
	power        integrator // over the whole run
	settled      integrator // from the second change on: measured inside the run
	moving       bool       // it charged or discharged at some sweep
	lastP, lastE float64
	changed      int // sweeps at which some value changed
	firstChanged time.Duration
	lastChanged  time.Duration
	samples      autocorrelation // of the power, at changes
	firstP, endP float64

	content ContentWatch
	moved   bool    // the content changed
	pieces  int     // of the content, with a fall in each
	open    bool    // a piece has one
	falls   int     // from change to change, in all pieces
	fall    float64 // of the content in them, J
	span    float64 // their time, s
	quantum float64 // the smallest, J
	steps   int
	largest contentStep
}

type contentStep struct {
	ContentChange
	at run.Instant
}

func newDischargeEstimate(index *SensorIndex) *dischargeEstimate {
	e := &dischargeEstimate{}
	for _, b := range index.Batteries {
		t := batteryTrack{b: b, lastP: math.NaN(), lastE: math.NaN(), firstP: math.NaN(), endP: math.NaN(), quantum: math.Inf(1)}
		t.power.bridge, t.settled.bridge = longestBridge, longestBridge
		if b.Power >= 0 {
			t.resolution = index.Sensors[b.Power].Resolution
		}
		e.batteries = append(e.batteries, t)
	}
	return e
}

func (e *dischargeEstimate) observe(s *run.Sweep, t time.Duration) {
	for i := range e.batteries {
		e.batteries[i].observe(s.Values, t)
		e.batteries[i].observeContent(s)
	}
}

func (t *batteryTrack) observe(values []float64, now time.Duration) {
	if t.b.Silent(values) {
		return
	}
	t.n++
	p, energy := t.b.ReportedPower(values), At(values, t.b.Energy)
	t.power.observe(now, p)
	if d := At(values, t.b.Direction); d != 0 && !math.IsNaN(d) {
		t.moving = true
	}
	if math.IsNaN(t.firstP) {
		t.firstP = p
	}
	if !math.IsNaN(p) {
		t.endP = p
	}
	changed := differs(p, t.lastP) || differs(energy, t.lastE)
	if changed {
		if t.changed == 0 {
			t.firstChanged = now
		}
		t.changed++
		t.lastChanged = now
		if t.changed >= settledChange {
			t.samples.add(p)
		}
	}
	if t.changed >= settledChange {
		t.settled.observe(now, p)
	}
	if !math.IsNaN(p) {
		t.lastP = p
	}
	if !math.IsNaN(energy) {
		t.lastE = energy
	}
}

// settledChange is the change of a battery's values from which on they say
// nothing of the time before the run: what a gauge shows at the start was
// measured before it, and what it shows next is the mean over a time that began
// before it.
const settledChange = 2

// differs tells whether a value is known to have changed.
func differs(x, last float64) bool { return !math.IsNaN(x) && !math.IsNaN(last) && x != last }

func (t *batteryTrack) observeContent(s *run.Sweep) {
	c, changed := t.content.Observe(t.b, s.Values, s.At)
	if !changed {
		return
	}
	t.moved = true
	if c.Kind != ContentFlowed {
		t.open = false
		if c.Kind == ContentStepped {
			if t.steps++; t.steps == 1 || math.Abs(c.Joules) > math.Abs(t.largest.Joules) {
				t.largest = contentStep{c, s.At}
			}
		}
		return
	}
	if !t.open {
		t.open = true
		t.pieces++
	}
	t.falls++
	t.fall -= c.Joules
	t.span += c.Over.Seconds()
	t.quantum = math.Min(t.quantum, math.Abs(c.Joules))
}

// result combines both estimates; nil for a device without a battery.
func (e *dischargeEstimate) result(duration float64) *run.Discharge {
	if len(e.batteries) == 0 {
		return nil
	}
	power, energy := e.total(duration, (*batteryTrack).fromPower), e.total(duration, (*batteryTrack).fromEnergy)
	d := &run.Discharge{}
	contradicted := slices.ContainsFunc(e.batteries, func(t batteryTrack) bool { return t.contradicted(duration) })
	if power.ok {
		d.FromPowerWatts = orNil(power.watts)
	}
	if energy.ok {
		d.FromEnergyWatts = orNil(energy.watts)
	}
	if c := combine(power, energy); c.ok && !contradicted {
		half := run.Coverage95 * c.u
		d.Watts, d.UncertaintyWatts = orNil(c.watts), orNil(half)
	}
	return d
}

// total adds the batteries' estimates; it fails if one fails that was there.
func (e *dischargeEstimate) total(duration float64, f func(*batteryTrack, float64) estimate) estimate {
	sum, any := estimate{}, false
	for i := range e.batteries {
		if e.batteries[i].n == 0 {
			continue
		}
		x := f(&e.batteries[i], duration)
		if !x.ok {
			return estimate{}
		}
		any = true
		sum.watts += x.watts
		sum.u = math.Hypot(sum.u, x.u)
	}
	sum.ok = any
	return sum
}

// combine weights two estimates by their uncertainties (inverse variances). If
// they lie further apart than those explain, both get the same additional
// variance, so much that they just agree: neither is then believed alone
// (Paule & Mandel 1982, J. Res. NBS 87:377-385, doi 10.6028/jres.087.022).
func combine(a, b estimate) estimate {
	if !a.ok || !b.ok {
		if a.ok {
			return a
		}
		return b
	}
	va, vb := a.u*a.u, b.u*b.u
	apart := a.watts - b.watts
	extra := math.Max(0, (apart*apart-va-vb)/2)
	wa, wb := 1/(va+extra), 1/(vb+extra)
	return estimate{watts: (wa*a.watts + wb*b.watts) / (wa + wb), u: math.Sqrt(1 / (wa + wb)), ok: true}
}

// Floors of a discharge's standard uncertainty: gauges are not taken as more
// exact than this, although a run cannot show how wrong one is (common
// practice, no source).
const (
	floorRelative = 0.001
	floorWatts    = 0.005
)

func (t *batteryTrack) floor(watts float64) float64 {
	return math.Max(floorRelative*math.Abs(watts), floorWatts)
}

// refresh is the mean time between changes of the battery's values, s.
func (t *batteryTrack) refresh() float64 {
	if t.changed < 2 {
		return 1
	}
	return (t.lastChanged - t.firstChanged).Seconds() / float64(t.changed-1)
}

// fromPower is the time-weighted mean of the power that was measured inside the
// run. Its uncertainty comes from the scatter of the refreshed values (with
// their autocorrelation), the start of the run that they do not cover, their
// rounding and the floor. In a run too short for that, or where nothing changes,
// all values count, and the late ones make it uncertain.
func (t *batteryTrack) fromPower(duration float64) estimate {
	whole := t.power.mean()
	if whole == nil || t.power.covered.Seconds() < minCoverage*duration {
		return estimate{}
	}
	rounding := t.resolution / math.Sqrt(12)
	if inside := t.settled.covered.Seconds(); inside > 0 && inside >= duration/2 {
		mean := *t.settled.mean()
		return estimate{watts: mean, u: norm(t.floor(mean), t.samples.standardError(), t.unseen(mean, duration), rounding), ok: true}
	}
	u := t.floor(*whole)
	if t.moving {
		u = math.Max(u, unrefreshed*math.Abs(*whole))
	}
	late := math.Abs(t.endP-t.firstP) * 2 * t.refresh() / math.Max(duration, 1e-9) / math.Sqrt(3)
	return estimate{watts: *whole, u: norm(u, t.samples.standardError(), late, rounding), ok: true}
}

// unrefreshed is the relative standard uncertainty of a power that was not seen
// to be refreshed (common practice, no source).
const unrefreshed = 0.05

// fromEnergy is the fall of the content from its first to its last change, of each
// piece. The content at a change is uncertain by its rounding, but by no more than
// what flows between two changes; the moment of a change by the time between
// refreshes; and what lies outside the pieces by the power's scatter.
func (t *batteryTrack) fromEnergy(duration float64) estimate {
	if !t.moved && !t.moving {
		return estimate{ok: t.b.Energy >= 0, u: floorWatts}
	}
	if t.falls < 2 || t.span <= 0 {
		return estimate{}
	}
	watts := t.fall / t.span
	flow := math.Abs(watts)
	ends := math.Sqrt(float64(t.pieces))
	rounding := math.Min(t.quantum, flow*t.span/float64(t.falls)) / math.Sqrt(6) * ends
	timing := flow * t.refresh() / math.Sqrt(6) * ends
	scatter := t.samples.sdOr(0.1 * flow)
	outside := math.Max(0, duration-t.span) / math.Max(duration, t.span) * scatter
	return estimate{watts: watts, u: norm(t.floor(watts), rounding/t.span, timing/t.span, outside, t.unseen(watts, duration)), ok: true}
}

// Power and content contradict each other where they lie further apart than three times
// their uncertainty, than contradiction of the larger, and than contradictionWatts
// (common practice, no source). Then neither is the battery's discharge.
const (
	contradiction      = 0.5
	contradictionWatts = 1
)

func (t *batteryTrack) contradicted(duration float64) bool {
	power, energy := t.fromPower(duration), t.fromEnergy(duration)
	apart := math.Abs(power.watts - energy.watts)
	return power.ok && energy.ok && apart > 3*math.Hypot(power.u, energy.u) && apart > contradictionWatts &&
		apart > contradiction*math.Max(math.Abs(power.watts), math.Abs(energy.watts))
}

// unseen is the standard uncertainty from the time between the run's start and
// the first refresh, in which the power may have been anything from what it was
// before the run to what it is in it.
func (t *batteryTrack) unseen(mean, duration float64) float64 {
	if math.IsNaN(t.firstP) || duration <= 0 {
		return 0
	}
	return t.firstChanged.Seconds() / duration * math.Abs(mean-t.firstP) / math.Sqrt(3)
}

func norm(xs ...float64) float64 {
	s := 0.0
	for _, x := range xs {
		s += x * x
	}
	return math.Sqrt(s)
}

// autocorrelation gathers mean, variance and lag-1 correlation of a series in
// one pass (Welford 1962 for the variance).
type autocorrelation struct {
	n                  int
	mean, m2           float64
	first, last, cross float64 // cross: sum of neighbours' products about the running origin
	origin             float64
}

func (a *autocorrelation) add(x float64) {
	if math.IsNaN(x) {
		return
	}
	if a.n == 0 {
		a.origin, a.first = x, x
	} else {
		a.cross += (x - a.origin) * (a.last - a.origin)
	}
	a.n++
	delta := x - a.mean
	a.mean += delta / float64(a.n)
	a.m2 += delta * (x - a.mean)
	a.last = x
}

// sd is the sample standard deviation, NaN below two values.
func (a *autocorrelation) sd() float64 {
	if a.n < 2 {
		return math.NaN()
	}
	return math.Sqrt(a.m2 / float64(a.n-1))
}

// sdOr is sd, or other below two values.
func (a *autocorrelation) sdOr(other float64) float64 {
	if sd := a.sd(); !math.IsNaN(sd) {
		return sd
	}
	return other
}

// r1 is the lag-1 autocorrelation as in NIST StRD: sum of the products of
// neighbours' deviations from the mean over the sum of squares.
func (a *autocorrelation) r1() float64 {
	if a.m2 <= 0 {
		return 0
	}
	m := a.mean - a.origin
	n := float64(a.n)
	// The deviations of all but the last, and of all but the first, summed.
	heads, tails := n*m-(a.last-a.origin), n*m-(a.first-a.origin)
	return (a.cross - m*heads - m*tails + (n-1)*m*m) / a.m2
}

// standardError is the standard error of the mean of an autocorrelated series,
// with the effective number of values n (1-r)/(1+r) of a first-order
// autoregression (Bartlett 1946; Bayley & Hammersley 1946: nobody looked these up, as README says). Few
// values widen it as Student's t widens a 95 % interval. 0 below two values.
func (a *autocorrelation) standardError() float64 {
	if a.n < 2 || a.m2 <= 0 {
		return 0
	}
	r := math.Min(math.Max(a.r1(), 0), 0.95)
	effective := math.Max(2, float64(a.n)*(1-r)/(1+r))
	t := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: effective - 1}.Quantile(0.975)
	return a.sd() / math.Sqrt(effective) * t / run.Coverage95
}
