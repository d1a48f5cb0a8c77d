package judge

import (
	"fmt"
	"math"
	"strings"
	"time"

	"sweepd/run"
)

// goneCheck finds sensors that had a value in the run and then stopped for
// longer than allowed.
type goneCheck struct {
	index   *SensorIndex
	allowed time.Duration

	seen    []bool
	since   []time.Duration // when it stopped, -1 while it has a value
	longest []time.Duration
	last    time.Duration // the latest sweep
}

func newGoneCheck(index *SensorIndex, allowed time.Duration) *goneCheck {
	n := len(index.Sensors)
	c := &goneCheck{index: index, allowed: allowed, seen: make([]bool, n), since: make([]time.Duration, n), longest: make([]time.Duration, n)}
	for i := range c.since {
		c.since[i] = -1
	}
	return c
}

func (c *goneCheck) observe(s *run.Sweep, t time.Duration) {
	for i := range c.index.Sensors {
		if !math.IsNaN(At(s.Values, i)) || c.restingPower(s.Values, i) {
			c.seen[i], c.since[i] = true, -1
			continue
		}
		if !c.seen[i] {
			continue
		}
		if c.since[i] < 0 {
			c.since[i] = c.last
		}
		c.longest[i] = max(c.longest[i], t-c.since[i])
	}
	c.last = t
}

// restingPower tells whether sensor i is the power of a battery at rest, which
// some drivers do not report.
func (c *goneCheck) restingPower(values []float64, i int) bool {
	for _, b := range c.index.Batteries {
		if b.Power == i {
			return At(values, b.Direction) == 0
		}
	}
	return false
}

func (c *goneCheck) findings() []run.Finding {
	var gone []string
	longest := time.Duration(0)
	for i, s := range c.index.Sensors {
		if c.seen[i] && c.longest[i] > c.allowed {
			gone = append(gone, s.String())
			longest = max(longest, c.longest[i])
		}
	}
	if len(gone) == 0 {
		return nil
	}
	names := strings.Join(gone[:min(3, len(gone))], ", ")
	if len(gone) > 3 {
		names += fmt.Sprintf(" and %d more", len(gone)-3)
	}
	return []run.Finding{{Code: run.SensorGone, Severity: run.SeverityDoubt, Text: fmt.Sprintf(
		"%s gave no value for up to %.1f s: what depends on it is incomplete", names, longest.Seconds())}}
}

// chargingCheck notes that the battery was charged during the run: the power
// for it shares the charger and the cooling.
type chargingCheck struct {
	index   *SensorIndex
	prev    time.Duration
	charged time.Duration
	joules  float64
}

// chargingFor is more than a battery's report may lag behind an unplugging.
const chargingFor = 2 * time.Second

func (c *chargingCheck) observe(s *run.Sweep, t time.Duration) {
	dt := t - c.prev
	c.prev = t
	if c.index.direction(s.Values) >= 0 || math.IsNaN(c.index.direction(s.Values)) {
		return
	}
	c.charged += dt
	if p := c.index.Discharge(s.Values); p < 0 {
		c.joules -= p * dt.Seconds()
	}
}

func (c *chargingCheck) findings() []run.Finding {
	if c.charged < chargingFor {
		return nil
	}
	power := ""
	if c.joules > 0 {
		power = fmt.Sprintf(" with %.1f W on average", c.joules/c.charged.Seconds())
	}
	return []run.Finding{{Code: run.Charging, Severity: run.SeverityNote, Text: fmt.Sprintf(
		"the battery was charging for %.0f s%s, which warms the device and loads the charger", c.charged.Seconds(), power)}}
}
