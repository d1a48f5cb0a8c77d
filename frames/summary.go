package frames

import (
	"errors"
	"math"
	"slices"
	"strconv"
)

// Summary has the figures of the frame times of a run. Quantiles are of type 7 of
// Hyndman & Fan (1996).
type Summary struct {
	Frames int64   `json:"frames"`
	TotalS float64 `json:"total_s"` // all frame times together, s
	// Rounded tells that quantiles, and what is of the slowest frames, have a relative
	// error of up to Resolution, because there were more than Exact frames.
	Rounded bool `json:"rounded"`

	MeanFPS   float64 `json:"fps_mean"`   // frames over total time
	MedianFPS float64 `json:"fps_median"` // reciprocal of the median frame time
	// Slowest1 and Slowest01 are of the slowest 1 % and 0.1 % of the frames.
	Slowest1  Slowest `json:"slowest_1pct"`
	Slowest01 Slowest `json:"slowest_0.1pct"`

	P95Ms float64 `json:"frame_ms_p95"`
	P99Ms float64 `json:"frame_ms_p99"`
	MaxMs float64 `json:"frame_ms_max"`

	SlowMs    float64 `json:"slow_ms"`    // the threshold for slow frames
	SlowRatio float64 `json:"slow_ratio"` // fraction of the frames that take longer
}

// Slowest are the two figures in use for a fraction of the frames, the slowest, fps.
type Slowest struct {
	// PercentileFPS is the rate at the frame time that this fraction of the frames exceeds.
	PercentileFPS float64 `json:"edge"`
	// MeanFPS is the rate over these frames alone: their number, rounded up, over
	// the sum of their times.
	MeanFPS float64 `json:"mean"`
}

// ErrNoFrames is returned where there is no frame, or where all took no time.
var ErrNoFrames = errors.New("no frame times")

// Summary sums up what was added so far.
func (t *Times) Summary() (Summary, error) {
	if t.n == 0 || !(t.total > 0) {
		return Summary{}, ErrNoFrames
	}
	r := t.Ranked()
	return Summary{
		Frames: t.n, TotalS: t.total, Rounded: t.Rounded(),
		MeanFPS: float64(t.n) / t.total, MedianFPS: rate(r.Quantile(0.5)),
		Slowest1: r.slowestFraction(0.01), Slowest01: r.slowestFraction(0.001),
		P95Ms: 1000 * r.Quantile(0.95), P99Ms: 1000 * r.Quantile(0.99), MaxMs: 1000 * t.longest,
		SlowMs: 1000 * t.slowAt, SlowRatio: float64(t.slow) / float64(t.n),
	}, nil
}

func (r Ranked) slowestFraction(fraction float64) Slowest {
	k := int64(math.Ceil(fraction*float64(r.Frames()) - epsilon*float64(r.Frames())))
	return Slowest{PercentileFPS: rate(r.Quantile(1 - fraction)), MeanFPS: rate(r.sumOfSlowest(k) / float64(k))}
}

// epsilon is the distance from 1 to the next larger number: a fraction that is a whole
// number of frames may come out too large by that much of all frames.
const epsilon = 1.0 / (1 << 52)

// rate is the reciprocal; frames that take no time have none.
func rate(seconds float64) float64 {
	if !(seconds > 0) {
		return math.NaN()
	}
	return 1 / seconds
}

// Result is one figure of a summary, as a run keeps it.
type Result struct {
	Name  string
	Value float64
	Unit  string
	Lower bool // less is better
}

// Results are the figures of the summary that are known. The threshold of slow
// frames is part of their name, so that runs are compared at one threshold only.
func (s Summary) Results() []Result {
	all := []Result{
		{"fps_mean", s.MeanFPS, "fps", false},
		{"fps_median", s.MedianFPS, "fps", false},
		{"fps_slowest_1pct_edge", s.Slowest1.PercentileFPS, "fps", false},
		{"fps_slowest_1pct_mean", s.Slowest1.MeanFPS, "fps", false},
		{"fps_slowest_0.1pct_edge", s.Slowest01.PercentileFPS, "fps", false},
		{"fps_slowest_0.1pct_mean", s.Slowest01.MeanFPS, "fps", false},
		{"frame_ms_p95", s.P95Ms, "ms", true},
		{"frame_ms_p99", s.P99Ms, "ms", true},
		{"frame_ms_max", s.MaxMs, "ms", true},
		{"slow_frames_over_" + strconv.FormatFloat(s.SlowMs, 'g', 6, 64) + "ms", s.SlowRatio, "ratio", true},
	}
	return slices.DeleteFunc(all, func(r Result) bool { return math.IsNaN(r.Value) || math.IsInf(r.Value, 0) })
}
