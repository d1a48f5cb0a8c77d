package judge

import (
	"cmp"
	"math"
	"slices"
	"time"

	"sweepd/run"
)

// timeQuantiles finds for each gauge the smallest reading that was not exceeded for
// the share p of the time: the inverse of the time-weighted distribution (Hyndman &
// Fan 1996, type 1). A sweep stands for half the interval on either side.
//
// One walk can tell that exactly only if it keeps all that may be the answer (Munro &
// Paterson 1980, Theor. Comput. Sci. 12:315-323, which nobody looked up, as README says). These are the readings
// that were exceeded for at most 1-p of the longest time that the run may have
// lasted, which for a p near 1 are few: for the 95 % of 40 gauges that never show the
// same twice, read every 250 ms, at most 0.7 MB for each hour; for gauges that show
// few different values next to nothing.
type timeQuantiles struct {
	longest time.Duration // of a run that it can tell of
	p       float64
	tails   []upperTail // by sensor; unused for counters

	values    []float64 // of the latest sweep, whose weight the next one tells
	last, gap time.Duration
	first     time.Duration
	n         int
}

// upperTail is the upper end of a distribution. Weights are twice the time, so that
// they are whole nanoseconds and their sums exact.
type upperTail struct {
	gauge  bool
	total  time.Duration // of all readings
	limit  time.Duration // what was exceeded for longer cannot be the answer
	lowest float64       // kept at the last pruning; what is below cannot be the answer
	list   []weighted
	room   int // how many are kept until the next pruning
}

type weighted struct {
	x float64
	w time.Duration
}

func newTimeQuantiles(sensors []run.Sensor, p float64, longest time.Duration) *timeQuantiles {
	q := &timeQuantiles{longest: longest, p: p, tails: make([]upperTail, len(sensors))}
	for i, s := range sensors {
		q.tails[i] = upperTail{gauge: s.Kind == run.Gauge, limit: exceeded(p, 2*longest), lowest: math.Inf(-1)}
	}
	return q
}

// exceeded is the share of a time for which the quantile p may be exceeded. The
// slack is for shares that no binary number expresses.
func exceeded(p float64, t time.Duration) time.Duration {
	return time.Duration((1 - p*(1-1e-12)) * float64(t))
}

func (q *timeQuantiles) observe(values []float64, t time.Duration) {
	if q.n == 0 {
		q.first = t
	} else {
		q.weigh(q.gap + t - q.last)
		q.gap = t - q.last
	}
	q.n++
	q.last = t
	q.values = append(q.values[:0], values...)
}

// weigh counts the latest sweep.
func (q *timeQuantiles) weigh(w time.Duration) {
	for i, x := range q.values {
		if q.tails[i].gauge && !math.IsNaN(x) {
			q.tails[i].add(x, w)
		}
	}
}

func (u *upperTail) add(x float64, w time.Duration) {
	u.total += w
	if x < u.lowest {
		return
	}
	u.list = append(u.list, weighted{x, w})
	if len(u.list) > u.room {
		u.prune()
		u.room = max(64, len(u.list)*5/4)
	}
}

// prune sorts the list downwards, adds up what is equal and drops what cannot be the
// answer.
func (u *upperTail) prune() {
	slices.SortFunc(u.list, func(a, b weighted) int { return cmp.Compare(b.x, a.x) })
	kept, above := u.list[:0], time.Duration(0)
	for _, e := range u.list {
		if n := len(kept); n > 0 && kept[n-1].x == e.x {
			kept[n-1].w += e.w
		} else if above > u.limit {
			u.lowest = kept[n-1].x
			break
		} else {
			kept = append(kept, e)
		}
		above += e.w
	}
	u.list = kept
}

// close counts the last sweep and tells whether the run was short enough for the
// answers to be exact.
func (q *timeQuantiles) close() bool {
	if q.n == 1 {
		q.gap = 1 // a sweep that stands alone counts too
	}
	q.weigh(q.gap)
	return q.last-q.first <= q.longest
}

// of is the quantile of sensor i, NaN where it is a counter or had no reading.
func (q *timeQuantiles) of(i int) float64 {
	u := &q.tails[i]
	u.limit = exceeded(q.p, u.total)
	u.prune()
	if len(u.list) == 0 {
		return math.NaN()
	}
	return u.list[len(u.list)-1].x
}
