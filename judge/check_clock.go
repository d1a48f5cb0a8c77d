package judge

import (
	"cmp"
	"fmt"
	"slices"
	"time"

	"sweepd/run"
)

// gap is a time without a sweep.
type gap struct {
	from, to time.Time
	length   time.Duration
}

// clockCheck finds gaps between sweeps, suspends and steps of the wall clock.
type clockCheck struct {
	gap, step time.Duration

	seen    bool
	prev    run.Instant
	gaps    []gap
	lost    []run.Loss // explain gaps
	asleep  time.Duration
	sleptAt run.Instant
	stepped time.Duration
	stepAt  run.Instant
}

func (c *clockCheck) observe(s *run.Sweep, _ time.Duration) {
	if c.seen {
		c.compare(c.prev, s.At)
	}
	c.prev, c.seen = s.At, true
}

func (c *clockCheck) compare(a, b run.Instant) {
	mono, boot, wall := b.Mono-a.Mono, b.Boot-a.Boot, b.Wall.Round(0).Sub(a.Wall.Round(0))
	if mono > c.gap {
		c.gaps = append(c.gaps, gap{a.Wall, b.Wall, mono})
	}
	if slept := boot - mono; slept >= c.step {
		if c.asleep == 0 {
			c.sleptAt = a
		}
		c.asleep += slept
	}
	if step := wall - boot; step.Abs() >= c.step && step.Abs() > c.stepped.Abs() {
		c.stepped, c.stepAt = step, a
	}
}

func (c *clockCheck) findings() []run.Finding {
	var found []run.Finding
	if c.asleep > 0 {
		found = append(found, run.Finding{Code: run.Suspended, Severity: run.SeverityReject, Text: fmt.Sprintf(
			"the device slept for %.1f s from %s: the result does not describe a running device",
			c.asleep.Seconds(), clockTime(c.sleptAt.Wall)), At: c.sleptAt.Wall})
	}
	gaps := slices.DeleteFunc(c.gaps, func(g gap) bool { return during(c.lost, g.from, g.to) })
	if len(gaps) > 0 {
		longest := slices.MaxFunc(gaps, func(a, b gap) int { return cmp.Compare(a.length, b.length) })
		found = append(found, run.Finding{Code: run.SamplingGap, Severity: run.SeverityDoubt, Text: fmt.Sprintf(
			"%s without a sweep longer than %.1f s, the longest %.1f s from %s: the device was too busy to be sampled, or hung",
			times(len(gaps)), c.gap.Seconds(), longest.length.Seconds(), clockTime(longest.from)), At: longest.from})
	}
	if c.stepped != 0 {
		found = append(found, run.Finding{Code: run.ClockStepped, Severity: run.SeverityNote, Text: fmt.Sprintf(
			"the wall clock jumped by %+.1f s at %s; durations are not affected", c.stepped.Seconds(), clockTime(c.stepAt.Wall)), At: c.stepAt.Wall})
	}
	return found
}

func clockTime(at time.Time) string { return at.UTC().Format("15:04:05") + " UTC" }

func times(n int) string {
	if n == 1 {
		return "one time"
	}
	return fmt.Sprintf("%d times", n)
}
