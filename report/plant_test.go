package report

import (
	"fmt"
	"math"
	"math/rand/v2"
	"time"

	"sweepd/analysis"
	"sweepd/run"
)

// A planted truth: runs made from known curves with known noise, so that tests
// can read it back from the sentences.

var plantedSettings = []float64{5, 6, 8, 10, 12, 15, 18, 21, 25, 30, 35, 40, 46, 54}

type plot struct {
	device, workload string
	supply           run.Supply
	variant          run.Variant
	metric, unit     string
	lower            bool
	curve            func(w float64) float64 // result at so many package watts
	floor, cap       float64                 // of the package power, W; 0: none
	cv               float64                 // of the result of one run
	n                int
	overhead         float64 // whole device = overhead + 1.15 package watts, on battery
	names            []string
}

// saturating is a curve that rises and flattens.
func saturating(top float64) func(float64) float64 {
	return func(w float64) float64 { return top * (1 - math.Exp(-(w-1)/12)) }
}

// plant makes the runs of some plots, in order of time over one day.
func plant(seed uint64, plots ...plot) []run.Run {
	random := rand.New(rand.NewPCG(seed, 7))
	var runs []run.Run
	for pass := range 10 {
		for _, p := range plots {
			if pass < p.n {
				runs = append(runs, p.pass(random, len(runs))...)
			}
		}
	}
	return runs
}

func (p plot) pass(random *rand.Rand, before int) []run.Run {
	var runs []run.Run
	for i, w := range plantedSettings {
		if len(p.names) > 0 && i >= len(p.names) {
			break
		}
		watts := w
		if p.floor > 0 {
			watts = max(watts, p.floor)
		}
		if p.cap > 0 {
			watts = min(watts, p.cap)
		}
		watts *= math.Exp(0.002 * random.NormFloat64())
		set := w
		number := before + i
		r := run.Run{
			State: run.Finished, ID: fmt.Sprintf("%08x-run", number*2654435761%(1<<32)), Labels: run.Labels{Device: p.device, Workload: p.workload, Setting: run.Watts(set).From(run.Declared), Supply: p.supply, Variant: p.variant}, StartedAt: run.Timestamp{Time: time.Date(2026, 5, 4, 8, 0, 0, 0, time.UTC).Add(time.Duration(number) * time.Minute)}, DurationS: new(60.0),
			PackageW: &watts, Facts: map[string]string{analysis.FactFullEnergyWh: "50", analysis.FactDesignEnergyWh: "52"},
			Results: map[string]run.Result{p.metric: {Value: p.curve(watts) * math.Exp(p.cv*random.NormFloat64()), Unit: p.unit, Better: direction[p.lower]}},
		}
		if len(p.names) > 0 {
			r.Setting = run.Named(p.names[i]).From(run.Declared)
		}
		if p.supply == "battery" {
			system := (p.overhead + 1.15*watts) * math.Exp(0.003*random.NormFloat64())
			r.SystemW = &system
		}
		runs = append(runs, r)
	}
	return runs
}

var direction = map[bool]run.Better{false: run.Higher, true: run.Lower}

// oakAndElm are two devices in one workload on both supplies: oak is 10 % ahead
// everywhere, has a floor of 11 W and loses 6 % on battery; elm has a cap of 33 W
// and loses nothing.
func oakAndElm() []plot {
	base := plot{workload: "harbour-flight", metric: "fps_mean", unit: "fps", cv: 0.004, n: 3, overhead: 5}
	oak, elm := base, base
	oak.device, oak.curve, oak.floor = "unit-oak", saturating(110), 11
	elm.device, elm.curve, elm.cap = "unit-elm", saturating(100), 33
	oak.supply, elm.supply = "mains", "mains"
	oakB, elmB := oak, elm
	oakB.supply, elmB.supply = "battery", "battery"
	oakB.curve = saturating(110 * 0.94)
	return []plot{oak, elm, oakB, elmB}
}
