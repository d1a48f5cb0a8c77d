package collectors

import (
	"errors"
	"math"
	"path/filepath"
	"time"
)

func offerEnergy(dir, instance, energy, power string) Offer {
	path := filepath.Join(dir, "energy_uj")
	return Offer{
		Sensors: []Sensor{
			{ID: energy, Instance: instance, Unit: "joules", Kind: Counter, Source: path, Resolution: 1e-6},
			{ID: power, Instance: instance, Unit: "watts", Source: path, Resolution: 1e-3},
		},
		Open:   func() (Probe, error) { return openEnergy(dir) },
		Remedy: energyRemedy,
	}
}

// energyCounter reads a counter of microjoules that wraps: the energy since it
// was opened, and the mean power since the previous reading.
type energyCounter struct {
	file  *sysFile
	count energyCount
}

var microjoules = limits{scale: 1e-6, low: 0, high: anyInteger, want: "microjoules from 0"}

func openEnergy(dir string) (Probe, error) {
	f, err := openSysFile(filepath.Join(dir, "energy_uj"))
	if err != nil {
		return nil, err
	}
	p := &energyCounter{file: f, count: energyCount{power: math.NaN()}}
	r, err := openSysFile(filepath.Join(dir, "max_energy_range_uj"))
	if err != nil {
		return p, nil // without a range a fall is a reset
	}
	if v, err := microjoules.read(r); err == nil {
		p.count.span = v
	}
	if err := r.Close(); err != nil {
		return nil, errors.Join(err, f.Close())
	}
	return p, nil
}

func (p *energyCounter) Read(now time.Duration, dst []float64) error {
	dst[0], dst[1] = math.NaN(), math.NaN()
	raw, err := microjoules.read(p.file)
	if err != nil {
		return err
	}
	dst[0], dst[1] = p.count.next(now, raw)
	return nil
}

func (p *energyCounter) Close() error { return p.file.Close() }

const (
	// plausibleWatts is more than any zone of a portable machine draws, for
	// however short. Common practice, no source. Once a counter with a range
	// of 262 kJ was not read for 524 s, nobody can say whether it wrapped.
	plausibleWatts = 500
	// refreshSlack is how late a counter may be with what it counts.
	refreshSlack = time.Second
	// shortestMean is the time below which the mean power is not worked out
	// anew, since the counter's own refresh (about 1 ms) would show in it.
	shortestMean = 10 * time.Millisecond
	// stillFor is how long a counter may stand still between refreshes.
	stillFor = time.Second
)

// energyCount turns what a counter shows into energy and power. All energies
// are in microjoules.
type energyCount struct {
	span  int64 // max_energy_range_uj; 0 unknown
	known bool
	raw   int64
	at    time.Duration
	total int64 // since it was opened, or since the last doubt

	powerFrom   int64 // total and time at which the present mean begins
	powerFromAt time.Duration
	power       float64
}

// next takes a reading and gives the energy in joules since the counter was
// opened, and the mean power in watts since the last reading at least 10 ms
// ago, NaN at first. Where it may have wrapped unseen, or was reset, both are
// missing once and the energy starts again from 0.
func (c *energyCount) next(now time.Duration, raw int64) (joules, watts float64) {
	step, sure := c.step(now, raw)
	opened := !c.known
	c.known, c.raw, c.at = true, raw, now
	if opened || !sure {
		c.total, c.powerFrom, c.powerFromAt, c.power = 0, 0, now, math.NaN()
		if opened {
			return 0, c.power
		}
		return math.NaN(), math.NaN()
	}
	c.total += step
	// A counter that stands still was not refreshed yet: its last mean power
	// holds, and the next one begins where the last ended. Only one that stands
	// still for long says that nothing is drawn.
	if dt := now - c.powerFromAt; dt >= shortestMean && (c.total > c.powerFrom || dt >= stillFor) {
		c.power = float64(c.total-c.powerFrom) / 1e6 / dt.Seconds()
		c.powerFrom, c.powerFromAt = c.total, now
	}
	return float64(c.total) / 1e6, c.power
}

// step is the energy since the previous reading, false where it is in doubt.
// After a decrease it is range - previous + current (powercap.rst).
func (c *energyCount) step(now time.Duration, raw int64) (int64, bool) {
	gap := (now - c.at + refreshSlack).Seconds()
	if c.span > 0 && (now-c.at).Seconds()*plausibleWatts > float64(c.span)/1e6 {
		return 0, false
	}
	if raw >= c.raw {
		return raw - c.raw, true
	}
	step := c.span - c.raw + raw
	return step, step >= 0 && float64(step)/1e6 <= gap*plausibleWatts
}
