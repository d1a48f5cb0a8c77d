package judge

import (
	"fmt"
	"math"
	"time"

	"sweepd/run"
)

// weakCheck finds a charger that does not carry the load: the battery drains on
// mains.
type weakCheck struct {
	index  *SensorIndex
	th     Thresholds
	prev   time.Duration
	time   time.Duration
	joules float64
}

// drainFor is more than a battery's report may lag behind a plugging in.
const drainFor = 5 * time.Second

func (c *weakCheck) observe(s *run.Sweep, t time.Duration) {
	dt := t - c.prev
	c.prev = t
	if out := c.index.Discharge(s.Values); s.Supply == run.Mains && c.index.direction(s.Values) > 0 && out > c.th.WeakCharger {
		c.time += dt
		c.joules += out * dt.Seconds()
	}
}

func (c *weakCheck) findings() []run.Finding {
	if c.time < drainFor {
		return nil
	}
	return []run.Finding{{Code: run.ChargerWeak, Severity: run.SeverityDoubt, Text: fmt.Sprintf(
		"the battery gave %.1f W for %.0f s although the device was on mains: the charger is too weak for this load", c.joules/c.time.Seconds(), c.time.Seconds())}}
}

// reserveCheck finds a run on battery that came near empty.
type reserveCheck struct {
	index  *SensorIndex
	th     Thresholds
	lowest float64
	supply run.Supply
}

func newReserveCheck(v *SensorIndex, th Thresholds) *reserveCheck {
	return &reserveCheck{index: v, th: th, lowest: math.Inf(1)}
}

func (c *reserveCheck) observe(s *run.Sweep, _ time.Duration) {
	if x := c.index.Charge(s.Values); s.Supply == run.Battery && x < c.lowest {
		c.lowest, c.supply = x, run.Battery
	}
}

func (c *reserveCheck) findings() []run.Finding {
	if f, low := lowCharge(c.supply, c.lowest, c.th, "at its lowest"); low {
		return []run.Finding{f}
	}
	return nil
}

// staleCheck notes a battery that works while its values stand still.
type staleCheck struct {
	index   *SensorIndex
	allowed time.Duration

	since   []time.Duration // of the last change, by battery
	last    [][2]float64    // power and content
	longest time.Duration
	name    string
}

func (c *staleCheck) observe(s *run.Sweep, t time.Duration) {
	if c.since == nil {
		c.since = make([]time.Duration, len(c.index.Batteries))
		c.last = make([][2]float64, len(c.index.Batteries))
	}
	for i, b := range c.index.Batteries {
		now := [2]float64{At(s.Values, b.Power), At(s.Values, b.Energy)}
		works := At(s.Values, b.Direction) != 0 && !(math.IsNaN(now[0]) && math.IsNaN(now[1]))
		if !works || differs(now[0], c.last[i][0]) || differs(now[1], c.last[i][1]) {
			c.since[i] = t
		}
		c.last[i] = now
		if still := t - c.since[i]; still > c.longest {
			c.longest, c.name = still, b.Instance
		}
	}
}

func (c *staleCheck) findings() []run.Finding {
	if c.longest < c.allowed {
		return nil
	}
	return []run.Finding{{Code: run.SensorStale, Severity: run.SeverityNote, Text: fmt.Sprintf(
		"%s reported the same power and content for %.0f s while it worked: its gauge is slow or stuck, so the discharge is less certain", c.name, c.longest.Seconds())}}
}
