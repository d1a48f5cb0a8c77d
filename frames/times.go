package frames

import (
	"maps"
	"math"
	"slices"
)

// Exact is how many frame times Times keeps one by one, in about 8 MB. If there are
// more, it keeps how many there are of each length, rounded to Resolution.
const Exact = 1 << 20

// Resolution is the largest relative error of a quantile, and of the mean of the
// slowest share, where more than Exact frame times were gathered. The count, the
// total and with them the mean rate are exact always.
const Resolution = 1.0 / (1 << (mantissaBits + 1))

// mantissaBits is how many bits of a frame time's mantissa are kept when it is rounded.
const mantissaBits = 14

// Times gathers frame times in bounded memory. The zero value is empty.
type Times struct {
	n       int64
	total   float64 // s
	longest float64
	slow    int64 // frames above slowAt
	slowAt  float64

	exact  []float64        // up to Exact of them
	counts map[uint32]int64 // by leadingBits, in place of exact where there are more
	course course
}

// NewTimes gathers frame times and counts those above slowAt, s.
func NewTimes(slowAt float64) *Times { return &Times{slowAt: slowAt} }

// Add takes one frame time, s: finite and not negative.
func (t *Times) Add(seconds float64) {
	t.n++
	t.course.add(seconds, t.total)
	t.total += seconds
	t.longest = max(t.longest, seconds)
	if seconds > t.slowAt {
		t.slow++
	}
	if t.counts != nil {
		t.counts[leadingBits(seconds)]++
		return
	}
	t.exact = append(t.exact, seconds)
	if len(t.exact) > Exact {
		t.counts = map[uint32]int64{}
		for _, s := range t.exact {
			t.counts[leadingBits(s)]++
		}
		t.exact = nil
	}
}

// Frames is how many were added.
func (t *Times) Frames() int64 { return t.n }

// Rounded tells whether quantiles are rounded to Resolution.
func (t *Times) Rounded() bool { return t.counts != nil }

// leadingBits are the exponent and the leading mantissa bits of a positive number. They
// are in the order of the numbers.
func leadingBits(seconds float64) uint32 {
	return uint32(math.Float64bits(seconds) >> (52 - mantissaBits))
}

// binMiddle is the middle of the interval of numbers that have these leading bits.
func binMiddle(bits uint32) float64 {
	if bits == 0 {
		return 0
	}
	low := math.Float64frombits(uint64(bits) << (52 - mantissaBits))
	high := math.Float64frombits(uint64(bits+1) << (52 - mantissaBits))
	return low + (high-low)/2
}

// Ranked has all frame times in order, from the shortest to the longest.
type Ranked struct {
	values []float64
	ends   []int64 // rank, from 1, of the last frame time of each value; nil where each occurred once
}

// Ranked puts what was added so far in order; what is added later is not in it.
func (t *Times) Ranked() Ranked {
	if t.counts == nil {
		return Ranked{values: slices.Sorted(slices.Values(t.exact))}
	}
	keys := slices.Sorted(maps.Keys(t.counts))
	r := Ranked{values: make([]float64, len(keys)), ends: make([]int64, len(keys))}
	end := int64(0)
	for i, k := range keys {
		end += t.counts[k]
		// The middle of the last interval may be above the longest time there was.
		r.values[i], r.ends[i] = min(binMiddle(k), t.longest), end
	}
	return r
}

// Frames is how many frame times there are.
func (r Ranked) Frames() int64 {
	if r.ends == nil {
		return int64(len(r.values))
	}
	if len(r.ends) == 0 {
		return 0
	}
	return r.ends[len(r.ends)-1]
}

// At is the frame time of a rank, s: 1 is the shortest, Frames the longest.
func (r Ranked) At(rank int64) float64 {
	if r.ends == nil {
		return r.values[rank-1]
	}
	i, _ := slices.BinarySearch(r.ends, rank)
	return r.values[i]
}

// sumOfSlowest is the sum of the k longest frame times.
func (r Ranked) sumOfSlowest(k int64) float64 {
	sum := 0.0
	for i := len(r.values) - 1; i >= 0 && k > 0; i-- {
		n := int64(1)
		if r.ends != nil {
			n = r.ends[i]
			if i > 0 {
				n -= r.ends[i-1]
			}
		}
		n = min(n, k)
		sum += float64(n) * r.values[i]
		k -= n
	}
	return sum
}
