package agent

import (
	"fmt"
	"math"
	"time"
)

// supplyCheck finds a run that was not fed by one supply throughout.
//
// An adapter and a battery may report the same event up to a second or so
// apart, so at a run's edge they can disagree although nothing happened inside
// it. A change therefore counts once both say it, or once it has lasted longer
// than settle. And where the adapter is the late one, a run starts on the
// supply that the battery reported from its first sweep on.
type supplyCheck struct {
	view   *view
	settle time.Duration

	base     Supply
	baseDir  float64 // direction of the battery at the first sweep
	other    Supply
	since    time.Duration
	sinceAt  Instant
	changed  bool
	changeTo Supply
	changeAt Instant
	after    time.Duration
}

func (c *supplyCheck) observe(s *Sweep, t time.Duration) {
	dir := c.view.direction(s.Values)
	switch {
	case s.Supply == SupplyUnknown || c.changed:
		return
	case c.base == SupplyUnknown:
		c.base, c.baseDir = s.Supply, dir
		return
	case s.Supply == c.base:
		c.other = SupplyUnknown
		return
	}
	if t <= c.settle && agrees(s.Supply, c.baseDir) && !agrees(c.base, c.baseDir) {
		c.base, c.other = s.Supply, SupplyUnknown
		return
	}
	if c.other == SupplyUnknown {
		c.other, c.since, c.sinceAt = s.Supply, t, s.At
	}
	if math.IsNaN(dir) || agrees(s.Supply, dir) || t-c.since > c.settle {
		c.changed, c.changeTo, c.changeAt, c.after = true, s.Supply, c.sinceAt, c.since
	}
}

// agrees tells whether a battery that moves in direction dir can be on a
// supply.
func agrees(s Supply, dir float64) bool { return (s == Battery) == (dir > 0) }

// describe sets the supply that the run started on.
func (c *supplyCheck) describe(d *Detail) {
	if c.base != SupplyUnknown {
		d.Supply = c.base
	}
}

func (c *supplyCheck) findings() []Finding {
	if !c.changed {
		return nil
	}
	return []Finding{{Code: SupplyChanged, Severity: SeverityReject, Text: fmt.Sprintf(
		"the supply changed from %s to %s %.1f s after the start", c.base, c.changeTo, c.after.Seconds()), At: c.changeAt.Wall}}
}
