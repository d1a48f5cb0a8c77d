package agent

import (
	"math"
	"slices"

	"sweepd/collectors"
)

// baseline is the device's own idle temperature, learnt from the idle sweeps:
// for each temperature sensor, the value that a fifth of the latest idle sweeps
// lie below. Not the lowest, which may be a cold morning's, and not the middle,
// since many idle sweeps are taken while the device cools down after a run.
type baseline struct {
	rings map[string]*ring // by instance
}

// ring is the latest idle values of one sensor.
type ring struct {
	values [baselineSize]float32
	n      int // values seen
}

const (
	baselineSize     = 720 // two hours of idle sweeps 10 s apart
	baselineQuantile = 0.2
	baselineEnough   = 6 // a minute of them
)

func (b *baseline) observe(v *view, sensors []collectors.Sensor, values []float64) {
	for _, i := range v.temperatures {
		x := at(values, i)
		if math.IsNaN(x) {
			continue
		}
		if b.rings == nil {
			b.rings = map[string]*ring{}
		}
		r := b.rings[sensors[i].Instance]
		if r == nil {
			r = &ring{}
			b.rings[sensors[i].Instance] = r
		}
		r.values[r.n%baselineSize] = float32(x)
		r.n++
	}
}

// of is the baseline of a sensor, NaN before it is known.
func (b *baseline) of(instance string) float64 {
	r := b.rings[instance]
	if r == nil || r.n < baselineEnough {
		return math.NaN()
	}
	list := slices.Clone(r.values[:min(r.n, baselineSize)])
	slices.Sort(list)
	return float64(list[int(baselineQuantile*float64(len(list)-1)+0.5)])
}

// warmest is the sensor that lies furthest above its baseline, and by how much;
// ok is false while no baseline is known.
func (b *baseline) warmest(v *view, sensors []collectors.Sensor, values []float64) (instance string, celsius, above float64, ok bool) {
	above = math.Inf(-1)
	for _, i := range v.temperatures {
		x, base := at(values, i), b.of(sensors[i].Instance)
		if math.IsNaN(x) || math.IsNaN(base) {
			continue
		}
		if x-base > above {
			instance, celsius, above, ok = sensors[i].Instance, x, x-base, true
		}
	}
	return instance, celsius, above, ok
}
