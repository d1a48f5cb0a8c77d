package schedule

import (
	"cmp"
	"maps"
	"math"
	"slices"
	"strconv"
	"time"

	"sweepd/analysis"
	"sweepd/run"
)

// Estimates are what a plan assumes of runs and batteries. The zero value has the
// defaults and knows no battery.
type Estimates struct {
	// RunDuration is how long a run lasts, by workload; "" for the others. Default 5 min
	// (common practice, no source).
	RunDuration map[string]time.Duration
	// Pause is the time between two runs. Default 90 s (common practice, no
	// source).
	Pause time.Duration
	// Batteries are by device; "" for the others.
	Batteries map[string]Battery

	draws map[string][]draw // of each device, rising in watts
}

// Battery is what a plan needs to know of a device's battery.
type Battery struct {
	FullWh float64 // energy when full
	// Reserve is the share of the full energy that is kept back, 0 to 1. No run is
	// planned below run.LowCharge all the same: it would be doubted.
	Reserve float64
	// ChargeW is the power that charges the battery while runs on mains go on, W;
	// 0 means that it is full after 2 hours (common practice, no source).
	ChargeW float64
}

// Defaults of Estimates.
const (
	DefaultRun    = 5 * time.Minute
	DefaultPause  = 90 * time.Second
	rechargeHours = 2.0
	// A device draws its setting and some watts besides for all that is no
	// processor (common practice, no source).
	overheadW     = 8.0
	namedSettingW = 20.0
)

// draw is the mean power from the battery at one setting, W.
type draw struct{ setting, watts float64 }

// battery is what is known of a device's battery, with defaults; energyKnown tells
// whether its energy is.
func (e Estimates) battery(device string) (b Battery, energyKnown bool) {
	b, there := e.Batteries[device]
	if !there {
		b = e.Batteries[""]
	}
	b.Reserve = max(b.Reserve, run.LowCharge)
	b.ChargeW = cmp.Or(b.ChargeW, b.FullWh/rechargeHours)
	return b, b.FullWh > 0
}

func (e Estimates) runDuration(workload string) time.Duration {
	for _, name := range []string{workload, ""} {
		if d, there := e.RunDuration[name]; there && d > 0 {
			return d
		}
	}
	return DefaultRun
}

func (e Estimates) pauseDuration() time.Duration {
	if e.Pause <= 0 {
		return DefaultPause
	}
	return e.Pause
}

// slotS is the time that a run takes with the pause before it, s.
func (e Estimates) slotS(c run.Cell) float64 {
	return (e.runDuration(c.Workload) + e.pauseDuration()).Seconds()
}

// energyWh is the energy that a run takes from the battery, with the pause before it,
// in which the device is assumed to draw as much as in the run: on the safe side.
func (e Estimates) energyWh(c run.Cell) float64 { return e.DrawW(c) * e.slotS(c) / 3600 }

// ChargeOf is the share of its device's battery that a run takes, with the pause before it,
// from 0; known is false where the battery's energy is not.
func (e Estimates) ChargeOf(c run.Cell) (share float64, known bool) {
	b, known := e.battery(c.Device)
	if !known {
		return 0, false
	}
	return e.energyWh(c) / b.FullWh, true
}

// DrawW is the power that a cell is expected to take from the battery, W: what
// was seen at its setting, else between or beside the settings seen by W for W,
// else the setting and 8 W; for a named setting the mean of all that was seen, else
// 20 W.
func (e Estimates) DrawW(c run.Cell) float64 {
	seen := e.draws[c.Device]
	w, inWatts := c.Setting.Watts()
	if !inWatts {
		if len(seen) == 0 {
			return namedSettingW
		}
		sum := 0.0
		for _, d := range seen {
			sum += d.watts
		}
		return sum / float64(len(seen))
	}
	if len(seen) == 0 {
		return w + overheadW
	}
	i, exact := slices.BinarySearchFunc(seen, w, func(d draw, w float64) int { return cmp.Compare(d.setting, w) })
	switch {
	case exact:
		return seen[i].watts
	case i == 0:
		return max(seen[0].watts-(seen[0].setting-w), 1)
	case i == len(seen):
		last := seen[i-1]
		return last.watts + w - last.setting
	}
	low, high := seen[i-1], seen[i]
	return low.watts + (high.watts-low.watts)*(w-low.setting)/(high.setting-low.setting)
}

// Learn estimates from earlier runs, in the order of their start, how long runs and
// pauses are and what the devices draw; from their facts, the energy of the batteries.
// Where e has a value already, as the user gave it, that stays.
func (e Estimates) Learn(runs []run.Record) Estimates {
	e.RunDuration = learnRunDurations(e.RunDuration, runs)
	if e.Pause == 0 {
		e.Pause = learnPause(runs)
	}
	e.draws = learnDraws(runs)
	e.Batteries = learnBatteries(e.Batteries, runs)
	return e
}

// isComplete tells whether a run counts for a plan.
func isComplete(r run.Run) bool { return r.State == run.Finished && len(r.Results) > 0 }

func learnRunDurations(given map[string]time.Duration, runs []run.Record) map[string]time.Duration {
	seen := map[string][]float64{}
	for _, r := range runs {
		if isComplete(r.Run) && r.DurationS != nil {
			seen[r.Workload] = append(seen[r.Workload], *r.DurationS)
		}
	}
	out := map[string]time.Duration{}
	for workload, durations := range seen {
		out[workload] = time.Duration(analysis.Median(durations) * float64(time.Second))
	}
	if given[""] > 0 { // for all workloads
		clear(out)
	}
	maps.Copy(out, given)
	return out
}

// longestPause is the longest time between two runs that still counts as a pause, and
// not as lunch.
const longestPause = 20 * time.Minute

func learnPause(runs []run.Record) time.Duration {
	var gaps []float64
	ended := map[string]time.Time{}
	for _, r := range runs {
		if end := ended[r.Device]; !end.IsZero() {
			if gap := r.StartedAt.Sub(end); gap > 0 && gap <= longestPause {
				gaps = append(gaps, gap.Seconds())
			}
		}
		if r.DurationS != nil {
			ended[r.Device] = r.StartedAt.Add(time.Duration(*r.DurationS * float64(time.Second)))
		}
	}
	if len(gaps) == 0 {
		return 0
	}
	return time.Duration(analysis.Median(gaps) * float64(time.Second))
}

func learnDraws(runs []run.Record) map[string][]draw {
	type place struct {
		device  string
		setting float64
	}
	sums, counts := map[place]float64{}, map[place]float64{}
	for _, r := range runs {
		w, inWatts := r.Setting.Watts()
		if isComplete(r.Run) && r.Supply == run.Battery && r.SystemW != nil && *r.SystemW > 0 && inWatts {
			sums[place{r.Device, w}] += *r.SystemW
			counts[place{r.Device, w}]++
		}
	}
	out := map[string][]draw{}
	for at, sum := range sums {
		out[at.device] = append(out[at.device], draw{at.setting, sum / counts[at]})
	}
	for _, draws := range out {
		slices.SortFunc(draws, func(a, b draw) int { return cmp.Compare(a.setting, b.setting) })
	}
	return out
}

func learnBatteries(given map[string]Battery, runs []run.Record) map[string]Battery {
	out := map[string]Battery{}
	for _, r := range runs { // the last run tells
		full, err := strconv.ParseFloat(r.Facts[analysis.FactFullEnergyWh], 64)
		if err != nil || !(full > 0) || math.IsInf(full, 0) {
			continue
		}
		b := given[""]
		b.FullWh = full
		out[r.Device] = b
	}
	if given[""].FullWh > 0 { // for all devices
		clear(out)
	}
	for device, b := range given {
		if b.FullWh == 0 {
			b.FullWh = cmp.Or(out[device].FullWh, given[""].FullWh)
		}
		out[device] = b
	}
	return out
}
