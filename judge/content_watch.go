package judge

import (
	"math"
	"time"

	"sweepd/run"
)

// ContentWatch follows the content of one battery from change to change and tells what
// flowed from a step: a gauge that learnt anew, another battery, a wrong reading. The
// zero value works.
//
// From one change to the next the content can fall by no more than its power tells,
// give or take a change of the gauge's usual size, up to a percent, and what the battery
// could give or take in that time and contentLag more. What it could is the larger of the highest
// power it reported and its full content in an hour; of one that never reports a power,
// its full content in half an hour, which portable computers last at least (common
// practice, no source). So a gauge in coarse steps is none that steps: each of its
// changes is what flowed since the one before. How long the first change had been
// coming is not known: it may be as large as firstChange.
type ContentWatch struct {
	seen    bool
	begun   bool
	at      run.Instant   // of the last sweep
	settle  time.Duration // until then a content may be from before a break
	energy  float64
	since   time.Duration // when it changed last, or began; later by the time without a battery
	changes int
	usual   float64 // the largest change that was none, J
	full    float64 // full content, J; 0 unknown
	fullWas float64 // when the content changed last

	direction float64 // the last that was not 0
	powered   bool    // it reported a power
	power     float64 // the last, W
	most      float64 // the highest, of either direction, W
	flowed    float64 // what left it since the last change by its power, J
}

const (
	// contentLag is how much later than the power a content may be refreshed: the
	// kernel keeps both for a second (drivers/acpi/battery.c), and so do we.
	contentLag = 2 * time.Second
	// firstChange is the share of the full content that a first change may be: more
	// than the percent in which the coarsest gauges count. Common practice, no source.
	firstChange = 0.05
	// usualChange is the most that the gauge's usual change is let differ, as a share of
	// the full content. Common practice, no source.
	usualChange = 0.01
	// unknownFull is what a battery of unknown size can give, W. Common practice, no
	// source.
	unknownFull = 100
	// asleepFor is the shortest sleep that counts as one.
	asleepFor = 500 * time.Millisecond
)

// ContentChange is a change of a battery's content.
type ContentChange struct {
	Kind          ContentKind
	Joules        float64       // the rise, negative for a fall
	Over          time.Duration // since the change before, or since it is watched
	Watts         float64       // mean power that left the battery meanwhile, by itself; NaN unknown
	Full, FullWas float64       // its full content now and at the change before, J; 0 unknown
}

// ContentKind tells what a change is.
type ContentKind int

const (
	ContentFirst ContentKind = iota // nobody knows over which time
	ContentFlowed
	ContentStepped
)

// Observe takes a sweep. It tells of a change, if there is one.
//
// A device that slept may have been charged or drained meanwhile, and a battery that
// begins to discharge after charging may count anew from its nominal voltage (see
// collectors): either begins a new series without a word.
func (w *ContentWatch) Observe(b BatteryIndex, values []float64, now run.Instant) (c ContentChange, changed bool) {
	if !w.seen {
		w.seen, w.at = true, now
	}
	dt := now.Mono - w.at.Mono
	if slept := (now.Boot - w.at.Boot) - dt; slept >= asleepFor {
		w.breakSeries(now)
	}
	w.at = now
	if b.Silent(values) {
		w.since += dt // what is not there gives nothing
		w.settle += dt
		return c, false
	}
	w.observePower(b.ReportedPower(values), dt)
	if d := At(values, b.Direction); d > 0 || d < 0 {
		if w.direction < 0 && d > 0 {
			w.breakSeries(now)
		}
		w.direction = d
	}
	if full := At(values, b.Full); full > 0 {
		w.full = full
	}
	switch energy := At(values, b.Energy); {
	case math.IsNaN(energy):
		return c, false
	case !w.begun || now.Mono < w.settle:
		w.begun, w.energy, w.since, w.flowed, w.fullWas = true, energy, now.Mono, 0, w.full
		return c, false
	case energy == w.energy:
		return c, false
	default:
		return w.change(energy), true
	}
}

func (w *ContentWatch) breakSeries(now run.Instant) {
	w.begun, w.changes, w.settle = false, 0, now.Mono+contentLag
}

func (w *ContentWatch) observePower(p float64, dt time.Duration) {
	if math.IsNaN(p) {
		p = w.power // the last holds
	} else {
		if !w.powered {
			w.power = p
		}
		w.powered, w.most = true, math.Max(w.most, math.Abs(p))
	}
	w.flowed += (w.power + p) / 2 * dt.Seconds()
	w.power = p
}

func (w *ContentWatch) change(energy float64) ContentChange {
	c := ContentChange{Kind: ContentFlowed, Joules: energy - w.energy, Over: w.at.Mono - w.since, Watts: math.NaN(), Full: w.full, FullWas: w.fullWas}
	if w.powered && c.Over > 0 {
		c.Watts = w.flowed / c.Over.Seconds()
	}
	room := w.usual
	if w.full > 0 {
		room = math.Min(room, usualChange*w.full)
	}
	if w.changes == 0 {
		c.Kind = ContentFirst
		room = firstChange * w.full
		if w.full == 0 {
			room = math.Inf(1)
		}
	}
	if math.Abs(c.Joules+w.flowed) > room+w.reach()*(c.Over+contentLag).Seconds() {
		c.Kind = ContentStepped
	} else if w.changes < 2 || math.Abs(c.Joules) > w.usual {
		w.usual = math.Abs(c.Joules)
	}
	w.changes++
	w.energy, w.since, w.flowed, w.fullWas = energy, w.at.Mono, 0, w.full
	return c
}

// reach is the power that the battery could give or take, W.
func (w *ContentWatch) reach() float64 {
	inAnHour := float64(unknownFull)
	if w.full > 0 {
		inAnHour = w.full / 3600
	}
	if !w.powered {
		return 2 * inAnHour
	}
	return math.Max(w.most, inAnHour)
}
