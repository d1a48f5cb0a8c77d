package judge

import (
	"cmp"
	"math"
	"slices"
	"time"
)

// Baseline is the device's own idle temperature, learnt from the idle sweeps:
// for each temperature sensor, the value that it was below for a fifth of the time of the
// latest idle sweeps. Not the lowest, which may be a cold morning's, and not the middle,
// since many idle sweeps are taken while the device cools down after a run.
//
// Sweeps of every setting and supply count together: at idle no power limit binds,
// and the warmth of a charging battery is treated like the warmth after a run.
type Baseline struct {
	n      int                               // sweeps seen
	at     [baselineSize]time.Duration       // when, on the clock that goes on during sleep
	values map[string]*[baselineSize]float32 // by instance, °C; NaN where missing
}

const (
	baselineSize     = 720 // two hours of idle sweeps baselineEvery apart
	baselineEvery    = 10 * time.Second
	baselineQuantile = 0.2
	baselineEnough   = 6 // a minute of them
	// BaselineAge is how old a sweep that counts may be: of this working day and
	// not of yesterday's, when the room may have been another (common practice, no
	// source).
	BaselineAge = 8 * time.Hour
)

var unread = float32(math.NaN())

// Observe takes an idle sweep, later than those before it.
func (b *Baseline) Observe(index *SensorIndex, values []float64, now time.Duration) {
	row := b.begin(now)
	for _, i := range index.temperatures {
		if x := At(values, i); !math.IsNaN(x) {
			b.column(index.Sensors[i].Instance)[row] = float32(x)
		}
	}
}

// begin makes room for a sweep, in place of the oldest where it is full.
func (b *Baseline) begin(now time.Duration) (row int) {
	row = b.n % baselineSize
	for _, column := range b.values {
		column[row] = unread
	}
	b.at[row] = now
	b.n++
	return row
}

// column is the column of a sensor; a new sensor was missing in every sweep so far.
func (b *Baseline) column(instance string) *[baselineSize]float32 {
	column := b.values[instance]
	if column == nil {
		column = &[baselineSize]float32{}
		for i := range column {
			column[i] = unread
		}
		if b.values == nil {
			b.values = map[string]*[baselineSize]float32{}
		}
		b.values[instance] = column
	}
	return column
}

// Append adds the sweeps of a baseline that was learnt later.
func (b *Baseline) Append(later *Baseline) {
	for k := max(0, later.n-baselineSize); k < later.n; k++ {
		from := k % baselineSize
		row := b.begin(later.at[from])
		for instance, column := range later.values {
			b.column(instance)[row] = column[from]
		}
	}
}

// of is the idle temperature of a sensor at this moment, NaN where it is not known.
//
// A sweep counts for the time since the one before it, at most baselineEvery: whoever waits
// for the device to cool down looks at it every two seconds, and must not make it seem idle
// by that.
func (b *Baseline) of(instance string, now time.Duration) float64 {
	column := b.values[instance]
	if column == nil {
		return math.NaN()
	}
	type part struct {
		x float32
		d time.Duration
	}
	list := make([]part, 0, baselineSize)
	var total time.Duration
	for k := max(0, b.n-baselineSize); k < b.n; k++ {
		row := k % baselineSize
		x := column[row]
		if math.IsNaN(float64(x)) || now-b.at[row] > BaselineAge {
			continue
		}
		d := baselineEvery
		if k > 0 && len(list) > 0 {
			d = min(d, max(0, b.at[row]-b.at[(k-1)%baselineSize]))
		}
		list, total = append(list, part{x, d}), total+d
	}
	if len(list) < baselineEnough {
		return math.NaN()
	}
	slices.SortFunc(list, func(x, y part) int { return cmp.Compare(x.x, y.x) })
	below := time.Duration(baselineQuantile * float64(total))
	for _, p := range list {
		if below -= p.d; below < 0 {
			return float64(p.x)
		}
	}
	return float64(list[len(list)-1].x)
}

// warmest is the sensor that lies furthest above its baseline now, and by how much;
// ok is false while no baseline is known.
func (b *Baseline) warmest(index *SensorIndex, values []float64, now time.Duration) (instance string, celsius, above float64, ok bool) {
	above = math.Inf(-1)
	for _, i := range index.temperatures {
		x, base := At(values, i), b.of(index.Sensors[i].Instance, now)
		if math.IsNaN(x) || math.IsNaN(base) {
			continue
		}
		if x-base > above {
			instance, celsius, above, ok = index.Sensors[i].Instance, x, x-base, true
		}
	}
	return instance, celsius, above, ok
}
