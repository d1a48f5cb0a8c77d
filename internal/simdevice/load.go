package simdevice

import (
	"math"
	"math/rand/v2"
	"time"
)

// Names of the invented workloads.
const (
	harbourFlight = "harbour-flight"
	tileSort      = "tile-sort"
)

// Workload is something to play on the device: what it asks of the package over
// time, and how its result is told.
type Workload struct {
	Name    string
	DemandW float64 // package watts without a limit; default 70
	GPU     float64 // share of the dynamic power that the graphics take; default 0.6, negative none
	Threads int     // CPUs that it keeps busy; default all
	Load    Load    // how demand changes; default constant

	Metric        string // name of the result; default "score"
	Unit          string
	LowerIsBetter bool    // the result is a time for Work, not a rate
	Work          float64 // amount of work of a time; default 2000
	Parallel      float64 // share that runs in parallel (Amdahl 1967); default 0.9
}

// HarbourFlight is a scene whose result is its mean frame rate.
func HarbourFlight() Workload {
	return Workload{
		Name: harbourFlight, DemandW: 72, GPU: 0.7, Threads: 4, Parallel: 0.45,
		Load:   Load{Fluctuation: 0.04, TimeScale: 4 * time.Second},
		Metric: "fps_mean", Unit: "fps",
	}
}

// TileSort is a job whose result is the seconds it takes.
func TileSort() Workload {
	return Workload{
		Name: tileSort, DemandW: 66, GPU: -1, Parallel: 0.92,
		Metric: "duration", Unit: "s", LowerIsBetter: true, Work: 3000,
	}
}

func (w Workload) withDefaults(cpus int) Workload {
	text(&w.Name, "workload")
	text(&w.Metric, "score")
	number(&w.DemandW, 70)
	number(&w.GPU, 0.6)
	number(&w.Work, 2000)
	number(&w.Parallel, 0.9)
	if w.Threads <= 0 {
		w.Threads = cpus
	}
	return w
}

// Load is how a workload's demand changes, as a factor of its DemandW. The
// parts multiply; the zero value is constant full demand.
type Load struct {
	Phases      []Phase       // repeated from the start; none: constant 1
	Fluctuation float64       // relative sd of a fluctuation
	TimeScale   time.Duration // of the fluctuation; default 2 s
	WarmUp      time.Duration // time constant of a beginning at WarmUpLevel
	WarmUpLevel float64       // of the demand at the first moment, for example 0.5
}

// Phase is a part of a workload with its own demand.
type Phase struct {
	For   time.Duration
	Level float64 // 0 to 1
}

// level is the demand at a time since the start, without fluctuation.
func (l *Load) level(t time.Duration) float64 {
	v := 1.0
	if cycle := l.cycle(); cycle > 0 {
		t := t % cycle
		for _, p := range l.Phases {
			if t < p.For {
				v = p.Level
				break
			}
			t -= p.For
		}
	}
	if l.WarmUp > 0 {
		v *= relax(l.WarmUpLevel, 1, t, l.WarmUp)
	}
	return v
}

func (l *Load) cycle() (sum time.Duration) {
	for _, p := range l.Phases {
		sum += p.For
	}
	return sum
}

// fluctuate is the factor of the fluctuation in the next time step.
func (l *Load) fluctuate(w *wander, rng *rand.Rand) float64 {
	if l.Fluctuation <= 0 {
		return 1
	}
	scale := l.TimeScale
	if scale <= 0 {
		scale = 2 * time.Second
	}
	return math.Max(0, 1+l.Fluctuation*w.step(rng, float64(timeStep)/float64(scale)))
}
