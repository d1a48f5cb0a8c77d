package simdevice

import (
	"math"
	"time"
)

// rate is a workload's rate for the watts that reach it:
// Peak (1 - exp(-(w-StartW)/ScaleW)).
func (c Curve) rate(watts float64) float64 {
	if watts <= c.StartW {
		return 0
	}
	return c.Peak * (1 - math.Exp(-(watts-c.StartW)/c.ScaleW))
}

// speedup is Amdahl's law (Amdahl 1967, AFIPS 30:483-485, which nobody looked up):
// 1 / ((1-p) + p/n).
func speedup(parallel float64, n int) float64 {
	return 1 / ((1 - parallel) + parallel/float64(n))
}

// lossAt is the factor that remains of a rate on battery at package power watts.
func (l BatteryLoss) lossAt(watts float64) float64 {
	if l.Ratio == 0 {
		return 1
	}
	x := 1.0
	if l.FullW > l.FromW {
		x = math.Min(math.Max((watts-l.FromW)/(l.FullW-l.FromW), 0), 1)
	} else if watts < l.FromW {
		x = 0
	}
	return 1 - l.Ratio*x
}

// dipAt is the factor that remains of a rate at a setting.
func (c *Config) dipAt(settingW float64) float64 {
	f := 1.0
	for _, d := range c.Dips {
		if math.Abs(d.SettingW-settingW) < 0.05 {
			f *= 1 - d.Ratio
		}
	}
	return f
}

func (c *Config) curve(workload string) Curve {
	if curve, ok := c.Curves[workload]; ok {
		return curve
	}
	return Curve{Peak: 100, StartW: 2, ScaleW: 11}
}

// Played is what a workload gave from its start to its stop.
type Played struct {
	Duration time.Duration

	Metric        string
	Value         float64 // the result as the workload reports it, noise included
	Unit          string
	LowerIsBetter bool
	Exact         float64 // the same without noise

	MeanRate float64 // of the workload with noise, in its unit per second
	PackageW float64 // true mean power of the package, W

	rates []float64 // mean rate of each second, noise excluded
	seed  uint64
}

// play is a workload being played.
type play struct {
	workload Workload
	curve    Curve
	parallel float64 // speedup on the online CPUs over that on all
	started  time.Duration
	factor   float64 // noise of this run
	seed     uint64
	load     wander

	level float64 // demand in this time step
	rate  float64 // in this time step

	done     float64 // integral of the rate
	packageJ float64
	seconds  float64
	inSecond float64 // integral of the rate in the present second
	inside   float64 // seconds of it
	rates    []float64
}

// pass lets d pass at the present rate.
func (p *play) pass(packageW float64, d time.Duration) {
	s := d.Seconds()
	p.done += p.rate * s
	p.packageJ += packageW * s
	p.seconds += s
	p.inSecond += p.rate * s
	p.inside += s
	if p.inside >= 1-1e-9 {
		p.rates = append(p.rates, p.inSecond/p.inside)
		p.inSecond, p.inside = 0, 0
	}
}

// result is what the workload would report if it stopped now.
func (p *play) result() Played {
	w := p.workload
	r := Played{
		Duration: time.Duration(math.Round(p.seconds * 1e9)),
		Metric:   w.Metric, Unit: w.Unit, LowerIsBetter: w.LowerIsBetter,
		Value: math.NaN(), Exact: math.NaN(), MeanRate: math.NaN(), PackageW: math.NaN(),
		rates: append([]float64(nil), p.rates...), seed: p.seed,
	}
	if p.seconds == 0 {
		return r
	}
	if p.inside > 0.5 || len(r.rates) == 0 {
		r.rates = append(r.rates, p.inSecond/p.inside)
	}
	exact := p.done / p.seconds
	r.MeanRate = exact * p.factor
	r.PackageW = p.packageJ / p.seconds
	r.Exact, r.Value = exact, r.MeanRate
	if w.LowerIsBetter {
		r.Exact, r.Value = w.Work/exact, w.Work/r.MeanRate
	}
	return r
}
