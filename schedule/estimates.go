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

// Estimates are what a plan takes for granted where no run has told yet. The zero
// value has the defaults and knows no battery.
type Estimates struct {
	// RunDuration is how long a run lasts, by workload; "" for the others. Default 5 min
	// (common practice, no source).
	RunDuration map[string]time.Duration
	// Pause is the time between two runs. Default 90 s (common practice, no
	// source).
	Pause time.Duration
	// Batteries are those of the devices; "" for the others.
	Batteries map[string]Battery

	draws map[string][]draw // of each device, rising in watts
}

// Battery is what a plan must know of a device's battery.
type Battery struct {
	FullWh float64 // energy when full
	// Reserve is the charge that runs leave, as a share; 0 means 0.1 (common
	// practice, no source).
	Reserve float64
	// ChargeW is the power that fills the battery while runs go on, W; 0 means
	// that it is filled in 2 hours (common practice, no source).
	ChargeW float64
}

// Defaults of Estimates.
const (
	DefaultRun     = 5 * time.Minute
	DefaultPause   = 90 * time.Second
	DefaultReserve = 0.1
	rechargeHours  = 2.0
	// A device draws its setting and some watts besides for all that is no
	// processor (common practice, no source).
	overheadW     = 8.0
	namedSettingW = 20.0
)

// draw is the mean power from the battery at one setting, W.
type draw struct{ setting, watts float64 }

func (e Estimates) battery(device string) (Battery, bool) {
	b, there := e.Batteries[device]
	if !there {
		b = e.Batteries[""]
	}
	if !(b.FullWh > 0) {
		return b, false
	}
	if b.Reserve == 0 {
		b.Reserve = DefaultReserve
	}
	if b.ChargeW == 0 {
		b.ChargeW = b.FullWh / rechargeHours
	}
	return b, true
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

// energyWh is what a run takes from the battery; in the pause the device is taken
// to draw as much as in the run, which is on the safe side.
func (e Estimates) energyWh(c run.Cell) float64 { return e.DrawW(c) * e.slotS(c) / 3600 }

// DrawW is the power that a cell is expected to take from the battery, W: what
// was seen at its setting, else between or beside the settings seen by W for W,
// else the setting and 8 W; for a named setting the mean of all that was seen, else
// 20 W.
func (e Estimates) DrawW(c run.Cell) float64 {
	seen := e.draws[c.Device]
	w, known := c.Setting.Watts()
	if !known {
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

// Learn takes from runs that were done how long they last, how long the pauses
// are and what the devices draw; from their facts, what the batteries hold. What
// the user said stays. Runs are in the order of their start.
func (e Estimates) Learn(runs []run.Record) Estimates {
	e.RunDuration = learnRunDurations(e.RunDuration, runs)
	if e.Pause == 0 {
		e.Pause = learnPause(runs)
	}
	e.draws = learnDraws(runs)
	e.Batteries = learnBatteries(e.Batteries, runs)
	return e
}

func isComplete(r run.Run) bool { return r.State == run.Finished && len(r.Results) > 0 }

func learnRunDurations(said map[string]time.Duration, runs []run.Record) map[string]time.Duration {
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
	if said[""] > 0 { // said for all
		clear(out)
	}
	maps.Copy(out, said)
	return out
}

// longestPause is the longest time between two runs that is taken for a pause and
// not for lunch.
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
	sums := map[string]map[float64][]float64{}
	for _, r := range runs {
		w, known := r.Setting.Watts()
		if !isComplete(r.Run) || r.Supply != run.Battery || r.SystemW == nil || !known || !(*r.SystemW > 0) {
			continue
		}
		if sums[r.Device] == nil {
			sums[r.Device] = map[float64][]float64{}
		}
		sums[r.Device][w] = append(sums[r.Device][w], *r.SystemW)
	}
	out := map[string][]draw{}
	for device, bySetting := range sums {
		for w, seen := range bySetting {
			total := 0.0
			for _, v := range seen {
				total += v
			}
			out[device] = append(out[device], draw{w, total / float64(len(seen))})
		}
		slices.SortFunc(out[device], func(a, b draw) int { return cmp.Compare(a.setting, b.setting) })
	}
	return out
}

func learnBatteries(said map[string]Battery, runs []run.Record) map[string]Battery {
	out := map[string]Battery{}
	for _, r := range runs { // the last run tells
		full, err := strconv.ParseFloat(r.Facts[analysis.FactFullEnergyWh], 64)
		if err != nil || !(full > 0) || math.IsInf(full, 0) {
			continue
		}
		b := said[""]
		b.FullWh = full
		out[r.Device] = b
	}
	if said[""].FullWh > 0 { // said for all
		clear(out)
	}
	for device, b := range said {
		if b.FullWh == 0 {
			b.FullWh = cmp.Or(out[device].FullWh, said[""].FullWh)
		}
		out[device] = b
	}
	return out
}
