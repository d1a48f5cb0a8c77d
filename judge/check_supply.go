package judge

import (
	"fmt"
	"math"
	"time"

	"sweepd/run"
)

// supplyCheck finds a run that was not fed by one supply throughout.
//
// An adapter and a battery may report the same event up to a second or so
// apart, so at a run's edge they can disagree although nothing happened inside
// it. A change therefore counts once both say it, or once it has lasted longer
// than settle. And where the adapter is the late one, a run starts on the
// supply that the battery reported from its first sweep on.
type supplyCheck struct {
	index  *SensorIndex
	settle time.Duration

	base     run.Supply
	baseDir  float64 // direction of the battery at the first sweep
	other    run.Supply
	since    time.Duration
	sinceAt  run.Instant
	changed  bool
	changeTo run.Supply
	changeAt run.Instant
	after    time.Duration
}

func (c *supplyCheck) observe(s *run.Sweep, t time.Duration) {
	dir := c.index.direction(s.Values)
	switch {
	case s.Supply == run.SupplyUnknown || c.changed:
		return
	case c.base == run.SupplyUnknown:
		c.base, c.baseDir = s.Supply, dir
		return
	case s.Supply == c.base:
		c.other = run.SupplyUnknown
		return
	}
	if t <= c.settle && agrees(s.Supply, c.baseDir) && !agrees(c.base, c.baseDir) {
		c.base, c.other = s.Supply, run.SupplyUnknown
		return
	}
	if c.other == run.SupplyUnknown {
		c.other, c.since, c.sinceAt = s.Supply, t, s.At
	}
	if math.IsNaN(dir) || agrees(s.Supply, dir) || t-c.since > c.settle {
		c.changed, c.changeTo, c.changeAt, c.after = true, s.Supply, c.sinceAt, c.since
	}
}

// agrees tells whether a battery that moves in direction dir can be on a
// supply.
func agrees(s run.Supply, dir float64) bool { return (s == run.Battery) == (dir > 0) }

// describe sets the supply that the run started on.
func (c *supplyCheck) describe(d *run.Record) {
	if c.base != run.SupplyUnknown {
		d.Supply = c.base
	}
}

func (c *supplyCheck) findings() []run.Finding {
	if !c.changed {
		return nil
	}
	return []run.Finding{{Code: run.SupplyChanged, Severity: run.SeverityReject, Text: fmt.Sprintf(
		"the supply changed from %s to %s %.1f s after the start", c.base, c.changeTo, c.after.Seconds()), At: c.changeAt.Wall}}
}
