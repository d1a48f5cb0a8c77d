package judge

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"time"

	"sweepd/run"
)

// InferredLimit is a power limit that no system reported and no user declared: it
// is read from what a busy device drew.
type InferredLimit struct {
	Watts float64 `json:"watts"`
	// Lower and Upper hold 95 % of the seconds at the flat top. How far the
	// sensor itself is off is not in them.
	Lower float64 `json:"lower"`
	Upper float64 `json:"upper"`
	// From is package_w where the package's power was flat, system_w where the
	// discharge was, which is the limit of the whole device.
	From        string `json:"from"`
	Seconds     int    `json:"seconds"`      // at the flat top
	BusySeconds int    `json:"busy_seconds"` // among so many
}

// ErrNoFlatTop is returned by InferLimit where nothing speaks for a limit.
var ErrNoFlatTop = errors.New("no limit can be inferred")

// What makes a flat top; common practice, no source.
const (
	flatBusy    = 0.5  // a second counts as busy from this processor load, if it is known
	flatSeconds = 30   // fewer busy seconds tell nothing
	flatQuarter = 0.95 // the top is this quantile of their power: a boost is above it, but short
	flatBand    = 0.02 // what is as near to the top as this, as a share, is at it
	flatShare   = 0.5  // so many of the busy seconds must be
)

// InferLimit looks for a power that a busy device reached and did not pass: a flat
// top of the package's power or, where that is unknown and the device ran on
// battery, of the discharge. A workload that wants exactly as much by itself looks
// the same, so the answer is an inference and never a setting by itself.
func InferLimit(trace run.Trace) (InferredLimit, error) {
	index := NewSensorIndex(trace.Sensors())
	seconds := secondMeans{index: &index, onBattery: true}
	var first *time.Duration
	err := trace.Each(func(s run.Sweep) error {
		if first == nil {
			first = &s.At.Mono
		}
		seconds.observe(&s, s.At.Mono-*first)
		return nil
	})
	if err != nil {
		return InferredLimit{}, err
	}
	seconds.close()
	var watts, out []float64
	for _, s := range seconds.list {
		if s.busy < flatBusy { // unknown counts as busy
			continue
		}
		if !math.IsNaN(s.watts) {
			watts = append(watts, s.watts)
		}
		if !math.IsNaN(s.out) {
			out = append(out, s.out)
		}
	}
	if len(watts) > 0 {
		return flatTop(watts, "package_w")
	}
	return flatTop(out, "system_w")
}

// flatTop reads a limit from the power of busy seconds; it sorts them.
func flatTop(watts []float64, from string) (InferredLimit, error) {
	n := len(watts)
	if n < flatSeconds {
		return InferredLimit{}, fmt.Errorf("%w: power is known of %d busy seconds, at least %d are needed: record a longer run of a demanding workload", ErrNoFlatTop, n, flatSeconds)
	}
	slices.Sort(watts)
	quantile := func(list []float64, p float64) float64 { return list[int(p*float64(len(list)-1)+0.5)] }
	top := quantile(watts, flatQuarter)
	low, _ := slices.BinarySearch(watts, top*(1-flatBand))
	high, _ := slices.BinarySearch(watts, top*(1+flatBand))
	inside := watts[low:high]
	if top <= 0 || float64(len(inside)) < flatShare*float64(n) {
		return InferredLimit{}, fmt.Errorf("%w: only %d of %d busy seconds were within %.0f %% of the highest power, %.1f W: the power has no flat top", ErrNoFlatTop, len(inside), n, 100*flatBand, top)
	}
	return InferredLimit{Watts: quantile(inside, 0.5), Lower: quantile(inside, 0.025), Upper: quantile(inside, 0.975), From: from,
		Seconds: len(inside), BusySeconds: n}, nil
}

// String says the limit as an inference.
func (l InferredLimit) String() string {
	what := "package power"
	if l.From == "system_w" {
		what = "discharge of the whole device"
	}
	return fmt.Sprintf("%.1f W (%.1f to %.1f), inferred: the %s was flat there in %d of %d busy seconds", l.Watts, l.Lower, l.Upper, what, l.Seconds, l.BusySeconds)
}
