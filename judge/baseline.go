package judge

import (
	"math"
	"slices"
	"time"

	"sweepd/run"
)

// Baseline is the device's own idle temperature and power, learnt from the idle sweeps:
// for each temperature sensor, the value that a fifth of the latest idle sweeps
// lie below. Not the lowest, which may be a cold morning's, and not the middle,
// since many idle sweeps are taken while the device cools down after a run.
//
// Sweeps of every setting and supply count together: at idle no power limit binds,
// and the warmth of a charging battery is treated like the warmth after a run.
type Baseline struct {
	latest        // idle sweeps
	course latest // of the last of them and of every look since
}

// latest are the latest temperatures that were seen.
type latest struct {
	n      int                               // sweeps seen
	at     [baselineSize]time.Duration       // when, on the clock that goes on during sleep
	values map[string]*[baselineSize]float32 // by instance, °C; NaN where missing
}

const (
	baselineSize     = 720 // two hours of idle sweeps 10 s apart
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
	b.observe(index, values, now)
	b.course.observe(index, values, now)
}

// Look takes a sweep of an idle device that only tells how it cools down: whoever looks
// every two seconds, waiting for it, must not make it seem idle by that.
func (b *Baseline) Look(index *SensorIndex, values []float64, now time.Duration) {
	b.course.observe(index, values, now)
}

// Learnt tells whether there are enough idle sweeps for a baseline.
func (b *Baseline) Learnt() bool { return b.n >= baselineEnough }

func (b *latest) observe(index *SensorIndex, values []float64, now time.Duration) {
	row := b.begin(now)
	if x := Sum(values, index.PackagePower); !math.IsNaN(x) {
		b.column(idlePackage)[row] = float32(x)
	}
	if x := index.Discharge(values); !math.IsNaN(x) && index.Supply(values) == run.Battery {
		b.column(idleDischarge)[row] = float32(x)
	}
	for _, i := range index.temperatures {
		if x := At(values, i); !math.IsNaN(x) {
			b.column(index.Sensors[i].Instance)[row] = float32(x)
		}
	}
}

// begin makes room for a sweep, in place of the oldest where it is full.
func (b *latest) begin(now time.Duration) (row int) {
	row = b.n % baselineSize
	for _, column := range b.values {
		column[row] = unread
	}
	b.at[row] = now
	b.n++
	return row
}

// column is the column of a sensor; a new sensor was missing in every sweep so far.
func (b *latest) column(instance string) *[baselineSize]float32 {
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
	b.append(&later.latest)
	b.course.append(&later.course)
}

func (b *latest) append(later *latest) {
	for k := max(0, later.n-baselineSize); k < later.n; k++ {
		from := k % baselineSize
		row := b.begin(later.at[from])
		for instance, column := range later.values {
			b.column(instance)[row] = column[from]
		}
	}
}

// of is the idle temperature of a sensor at this moment, NaN where it is not known.
func (b *Baseline) of(instance string, now time.Duration) float64 {
	return b.quantile(instance, now, baselineQuantile)
}

// Columns of power, beside those of temperatures.
const (
	idlePackage   = "\x00package"
	idleDischarge = "\x00discharge"
)

// IdlePower is the median power of the idle sweeps at this moment.
func (b *Baseline) IdlePower(now time.Duration) run.IdlePower {
	return run.IdlePower{PackageW: orNil(b.quantile(idlePackage, now, 0.5)), DischargeW: orNil(b.quantile(idleDischarge, now, 0.5))}
}

func (b *Baseline) quantile(instance string, now time.Duration, share float64) float64 {
	column := b.values[instance]
	if column == nil {
		return math.NaN()
	}
	list := make([]float32, 0, baselineSize)
	for i := range min(b.n, baselineSize) {
		if x := column[i]; !math.IsNaN(float64(x)) && now-b.at[i] <= BaselineAge {
			list = append(list, x)
		}
	}
	if len(list) < baselineEnough {
		return math.NaN()
	}
	slices.Sort(list)
	return float64(list[int(share*float64(len(list)-1)+0.5)])
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
