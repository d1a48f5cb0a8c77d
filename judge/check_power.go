package judge

import (
	"fmt"
	"math"
	"time"

	"sweepd/run"
)

// powerCheck follows power, clock and temperature through a run to find a
// device that was throttled, or that did not keep to its setting.
type powerCheck struct {
	index   *SensorIndex
	th      Thresholds
	setting *settingCheck // knows what was active, read and changed

	supply    run.Supply
	counted   float64 // rise of the throttle counters
	lastCount float64

	seconds secondMeans
	loadEnd time.Duration // after the start, of a run that was idle at its end; 0: it was not
}

func newPowerCheck(v *SensorIndex, setting *settingCheck, th Thresholds) *powerCheck {
	return &powerCheck{index: v, setting: setting, th: th, lastCount: math.NaN(), seconds: secondMeans{index: v}}
}

func (c *powerCheck) observe(s *run.Sweep, t time.Duration) {
	if t == 0 {
		c.supply = s.Supply
	}
	c.countThrottles(s.Values)
	c.seconds.observe(s, t)
}

func (c *powerCheck) countThrottles(values []float64) {
	n := Sum(values, c.index.throttles)
	if n > c.lastCount {
		c.counted += n - c.lastCount
	}
	if !math.IsNaN(n) {
		c.lastCount = n
	}
}

func (c *powerCheck) findings() []run.Finding {
	throttled := c.throttled()
	if len(throttled) > 0 {
		return append(throttled, c.disobeyed(true)...)
	}
	return c.disobeyed(false)
}

// throttled is told by a throttle counter, or by power or clock that falls while
// the device is at its temperature limit.
func (c *powerCheck) throttled() []run.Finding {
	evidence := ""
	if c.counted > 0 {
		evidence = fmt.Sprintf("the processor entered thermal throttling %.0f times", c.counted)
	} else if fall, what, at := c.fallAtLimit(); fall > c.th.ThrottledFall {
		evidence = fmt.Sprintf("%s fell by %.0f %% while the device was at %.1f °C (limit: %.0f)", what, 100*fall, at, c.th.TemperatureLimit)
	}
	if evidence == "" {
		return nil
	}
	return []run.Finding{{Code: run.Throttled, Severity: run.SeverityNote, Text: evidence +
		": heat, not the setting, limited the result"}}
}

// fallAtLimit compares the first quarter of the run, without its first seconds,
// with the seconds at the limit in the last quarter.
func (c *powerCheck) fallAtLimit() (fall float64, what string, celsius float64) {
	const skip = 3
	n := len(c.seconds.list)
	if n < 4*skip {
		return 0, "", 0
	}
	early := c.seconds.list[skip:max(n/4, skip+2)]
	var late []powerSecond
	for _, s := range c.seconds.list[3*n/4:] {
		if s.celsius >= c.th.TemperatureLimit {
			late = append(late, s)
			celsius = math.Max(celsius, s.celsius)
		}
	}
	if 2*len(late) < n-3*n/4 {
		return 0, "", 0
	}
	watts := 1 - meanOf(late, func(s powerSecond) float64 { return s.watts })/meanOf(early, func(s powerSecond) float64 { return s.watts })
	hertz := 1 - meanOf(late, func(s powerSecond) float64 { return s.hertz })/meanOf(early, func(s powerSecond) float64 { return s.hertz })
	if watts >= hertz || math.IsNaN(hertz) {
		return watts, "package power", celsius
	}
	return hertz, "the clock", celsius
}

// disobeyed compares measured power with the active setting. More than the
// setting is disobedience. Less may be all that the workload wants; it is
// disobedience only where the power is held flat, as a limiter holds it, and
// heat does not explain it. Without package power, the discharge of the whole
// device must at least reach the setting. A device that keeps to what the
// system reports obeys, whatever was declared: that is a disagreement.
func (c *powerCheck) disobeyed(hot bool) []run.Finding {
	watts, known := c.setting.active.Watts()
	if c.setting.change != "" || !known {
		return nil
	}
	text := c.disobeys(watts, hot)
	if read, known := c.setting.read.Watts(); text == "" || known && c.disobeys(read, hot) == "" {
		return nil
	}
	return []run.Finding{{Code: run.SettingDisobeyed, Severity: run.SeverityDoubt, Text: text}}
}

// disobeys says how measured power lies off a setting, "" if it does not.
func (c *powerCheck) disobeys(setting float64, hot bool) string {
	allowed := math.Max(c.th.Disobeyed*setting, 0.5)
	steady := c.steady()
	watts := meanOf(steady, func(s powerSecond) float64 { return s.watts })
	what, onlyBelow := "package power", false
	held := flat(steady, func(s powerSecond) float64 { return s.watts })
	if math.IsNaN(watts) && c.supply == run.Battery {
		watts, what, onlyBelow = meanOf(steady, func(s powerSecond) float64 { return s.out }), "the discharge of the whole device", true
		held = flat(steady, func(s powerSecond) float64 { return s.out })
	}
	switch {
	case watts > setting+allowed && !onlyBelow:
		return fmt.Sprintf("%s was %.1f W at a setting of %g W: the device does not go that low, or the setting was not in force", what, watts, setting)
	case watts < setting-allowed && !hot && held:
		return fmt.Sprintf("%s was held at %.1f W at a setting of %g W: the device does not go that high, or the setting was not in force", what, watts, setting)
	}
	return ""
}

// steady is the second half of the run, in which a short-term allowance above
// the setting is used up; of a run that was idle at its end, of the time until then.
func (c *powerCheck) steady() []powerSecond {
	list := c.seconds.list
	if c.loadEnd > 0 {
		list = list[:min(len(list), int(c.loadEnd.Seconds()))]
	}
	if len(list) < 6 {
		return nil
	}
	return list[len(list)/2:]
}

// flatness is the relative scatter of power, second by second, below which a
// limiter holds it: a workload's own demand varies more (common practice, no
// source).
const flatness = 0.02

func flat(list []powerSecond, f func(powerSecond) float64) bool {
	mean := meanOf(list, f)
	variance := meanOf(list, func(s powerSecond) float64 { return (f(s) - mean) * (f(s) - mean) })
	return math.Sqrt(variance) < flatness*mean
}
