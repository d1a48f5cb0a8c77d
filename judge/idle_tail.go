package judge

import (
	"errors"
	"math"
	"slices"
	"time"

	"sweepd/run"
)

// A run is found to have been idle at its end where its power came down from the load to
// what the device draws at idle, and stayed there. Package power tells where there is any,
// else the discharge on battery.
//
// The numbers below are common practice, no source.
const (
	// idleBand is how far above the idle level power still counts as idle, as a share of
	// it; idleWatts are always allowed.
	idleBand  = 0.25
	idleWatts = 0.5
	// loadShare is how much of the way from idle to the load power must come back for the
	// load to go on.
	loadShare = 0.25
	// pauseFactor is how many times as long as the longest pause of the workload the tail
	// must be: a workload that pauses may end with a pause.
	pauseFactor = 1.5
	// Where the idle level is not known from before the run, the tail must be at most
	// ownShare of the load, for ownTimes as long.
	ownShare = 0.4
	ownTimes = 2
)

// tail is where the load of a run ended before the run did.
type tail struct {
	from  time.Duration
	above float64 // power at which the load went on, W
}

// findTail looks for an idle tail in the seconds of a run. idle is the power at idle before
// the run, W, NaN where that is unknown; busy the highest processor load of an idle device.
func findTail(seconds []powerSecond, power func(powerSecond) float64, idle, duration, busy float64, least time.Duration) (tail, bool) {
	list := slices.DeleteFunc(slices.Clone(seconds), func(s powerSecond) bool { return math.IsNaN(power(s)) })
	enough := least.Seconds()
	if math.IsNaN(idle) {
		enough *= ownTimes
	}
	n := int(enough)
	if len(list) <= n {
		return tail{}, false
	}
	own := math.IsNaN(idle)
	if own {
		idle = middle(list[len(list)-n:], power)
	}
	band := idle + math.Max(idleBand*idle, idleWatts)
	loaded := slices.DeleteFunc(slices.Clone(list), func(s powerSecond) bool { return power(s) <= band })
	if len(loaded) == 0 {
		return tail{}, false
	}
	load := middle(loaded, power)
	if own && idle > ownShare*load {
		return tail{}, false
	}
	found := tail{above: math.Max(band, idle+loadShare*(load-idle))}
	// A single second above it is something in the background.
	last, pause, longest := -1, 0, 0
	for i := 1; i < len(list); i++ {
		if power(list[i]) > found.above && power(list[i-1]) > found.above {
			if last >= 0 {
				longest = max(longest, pause)
			}
			last, pause = i, 0
		} else if power(list[i]) <= found.above {
			pause++
		}
	}
	if last < 0 || last == len(list)-1 {
		return tail{}, false
	}
	found.from = time.Duration(list[last].second+1) * time.Second
	long := duration - found.from.Seconds()
	rest := list[last+1:]
	if long <= enough || long <= pauseFactor*float64(longest) || meanOf(rest, power) > band || meanOf(rest, func(s powerSecond) float64 { return s.busy }) > busy {
		return tail{}, false
	}
	return found, true
}

// middle is the median of what f gives.
func middle(list []powerSecond, f func(powerSecond) float64) float64 {
	all := make([]float64, len(list))
	for i, s := range list {
		all[i] = f(s)
	}
	slices.Sort(all)
	return all[len(all)/2]
}

// cutTail adds where the load ended, and the means until then, of a run that was idle at
// its end; it changes nothing else.
func (j *judgement) cutTail(d *run.Record, trace run.Trace) error {
	power, sum := func(s powerSecond) float64 { return s.watts }, func(values []float64) float64 { return Sum(values, j.index.PackagePower) }
	idle := d.Idle.PackageW
	if len(j.index.PackagePower) == 0 {
		if d.Supply != run.Battery {
			return nil
		}
		power, sum, idle = func(s powerSecond) float64 { return s.out }, j.index.Discharge, d.Idle.DischargeW
	}
	level := math.NaN()
	if idle != nil {
		level = *idle
	}
	t, found := findTail(j.power.seconds.list, power, level, *d.DurationS, j.th.BusyStart, j.th.IdleTail)
	if !found {
		return nil
	}
	// The seconds tell roughly, sweeps exactly.
	end := t.from - 2*time.Second
	err := trace.Each(func(s run.Sweep) error {
		if at := s.At.Mono - j.first.Mono; at > end && at <= t.from && sum(s.Values) > t.above {
			end = at
		}
		return nil
	})
	if err != nil {
		return err
	}
	part, err := Until(*d, trace, end.Seconds(), j.th)
	if err != nil {
		return err
	}
	d.LoadEndS = part.DurationS
	j.power.loadEnd = end
	SetLoadMeans(d.Summaries, part.Summaries)
	return nil
}

// SetLoadMeans gives the summaries of a run the means of those until its load ended.
func SetLoadMeans(list, until []run.Summary) {
	for i := range list {
		s := &list[i]
		s.LoadMean = nil
		if k := slices.IndexFunc(until, func(p run.Summary) bool { return p.Sensor == s.Sensor && p.Instance == s.Instance }); k >= 0 {
			s.LoadMean = until[k].Mean
		}
	}
}

// clockRounding is more than a store rounds the times of sweeps by.
const clockRounding = 2 * time.Millisecond

// ErrTrim is wrapped where a run cannot be cut at a moment.
var ErrTrim = errors.New("nothing of the run is left")

// Until is what the sweeps of a run tell of its first seconds: duration, package power,
// discharge, power of the whole device on battery, and means. d keeps the rest.
func Until(d run.Record, trace run.Trace, seconds float64, th Thresholds) (run.Record, error) {
	d.DurationS, d.WarmUpS = &seconds, nil
	j := newJudgement(d, trace.Sensors(), th.withDefaults())
	end := time.Duration(seconds*float64(time.Second)) + clockRounding
	var first *time.Duration
	err := trace.Each(func(s run.Sweep) error {
		if first == nil {
			first = &s.At.Mono
		}
		if s.At.Mono-*first > end {
			return nil
		}
		return j.observe(s)
	})
	if err == nil && j.checks == nil {
		err = j.begin()
	}
	if err != nil {
		return d, err
	}
	if j.n < 2 {
		return d, ErrTrim
	}
	j.quantiles.close()
	d.Summaries = summaries(j.index.Sensors, j.sums, j.quantiles, seconds)
	j.describeWatts(&d)
	return d, nil
}
