package simdevice

import (
	"fmt"
	"math"
	"time"
)

// do runs a control under the lock. Controls act on the model at once; the files
// follow at the next Flush.
func (d *Device) do(f func(m *model)) {
	d.mu.Lock()
	defer d.mu.Unlock()
	f(d.model)
}

// SetLimit sets the power limit, W. The controller clamps it between its floor
// and its cap, and the files go on showing what was set.
func (d *Device) SetLimit(watts float64) {
	d.do(func(m *model) { m.limit.setWatts(watts) })
}

// SetProfile sets a platform profile and with it the limit.
func (d *Device) SetProfile(name string) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.model.limit.choose(name)
}

// DisobeyLimit makes the package hold watts whatever the setting says; 0 makes
// it obey again.
func (d *Device) DisobeyLimit(watts float64) { d.do(func(m *model) { m.limit.actualW = watts }) }

// Plug plugs the charger in.
func (d *Device) Plug() { d.do(func(m *model) { m.plug(true) }) }

// Unplug pulls the charger out.
func (d *Device) Unplug() { d.do(func(m *model) { m.plug(false) }) }

// SetCharger changes what the charger can deliver, W. A weak one leaves the rest
// of the load to the battery, which then drains on mains.
func (d *Device) SetCharger(watts float64) {
	d.do(func(m *model) { m.supply.chargerW = watts; m.settle() })
}

// SetChargeLimit sets the charge ratio at which charging ends; it begins again
// 0.05 below.
func (d *Device) SetChargeLimit(ratio float64) {
	d.do(func(m *model) { m.supply.limitCharge(ratio); m.settle() })
}

// SetCharge sets the charge ratio of every battery, 0 to 1; the gauges show it
// at once.
func (d *Device) SetCharge(ratio float64) {
	d.do(func(m *model) {
		for _, b := range m.packs {
			b.setCharge(math.Min(math.Max(ratio, 0), 1))
		}
		m.supply.off = false
		m.settle()
		for _, b := range m.packs {
			b.gauge.restart()
			b.gauge.refresh(b, m.supply.status(b), m.packC())
		}
	})
}

// LeapCounter makes the counter of the package's energy leap forward by joules that
// nothing drew.
func (d *Device) LeapCounter(joules float64) { d.do(func(m *model) { m.leaptJ += joules }) }

// HeatTo brings the die to a temperature at once, degrees Celsius, as if it had
// worked before.
func (d *Device) HeatTo(celsius float64) {
	d.do(func(m *model) { m.cool.sinkC = celsius - dieKW*m.packageW; m.settle() })
}

// WarmBatteries makes the batteries warmer than the case by kelvin from their next refresh
// on, colder where it is negative.
func (d *Device) WarmBatteries(kelvin float64) { d.do(func(m *model) { m.packsK = kelvin }) }

// BlockFan stops the fan, or lets it go again.
func (d *Device) BlockFan(blocked bool) { d.do(func(m *model) { m.cool.fanStuck = blocked }) }

// BackgroundLoad makes other processes take a share of every CPU, 0 to 1.
func (d *Device) BackgroundLoad(ratio float64) {
	d.do(func(m *model) { m.background = math.Min(math.Max(ratio, 0), 1); m.settle() })
}

// SetCPUsOnline leaves the first n CPUs online.
func (d *Device) SetCPUsOnline(n int) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	if n < 1 || n > d.cfg.CPUs {
		return fmt.Errorf("simdevice: %d CPUs online, the device has 1 to %d", n, d.cfg.CPUs)
	}
	for i := range d.model.up {
		d.model.up[i] = i < n
	}
	d.model.countOnline()
	return nil
}

// RevertLimit has the firmware put its own limit back now, as Config.Reverts does.
func (d *Device) RevertLimit() { d.do(func(m *model) { m.revert.now(m); m.settle() }) }

// Suspend sends the device to sleep for a while: power falls to standby, the
// CPUs' clocks stand still, results do not advance. The tree shows nothing new
// until the next Flush after it.
func (d *Device) Suspend(span time.Duration) {
	d.do(func(m *model) {
		m.suspended = true
		m.packageW = 0
		m.settle()
		m.advance(span)
		m.suspended = false
		if m.cfg.Reverts.OnResume {
			m.revert.now(m)
		}
		m.settle()
	})
}

// PullBattery takes a battery out; its files vanish. Where it was the only
// source, the device goes off.
func (d *Device) PullBattery(name string) error { return d.setPresent(name, false) }

// InsertBattery puts a pulled battery back.
func (d *Device) InsertBattery(name string) error { return d.setPresent(name, true) }

func (d *Device) setPresent(name string, in bool) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	for _, b := range d.model.packs {
		if b.cfg.Name != name {
			continue
		}
		if b.present == in {
			return nil
		}
		b.present = in
		d.model.settle()
		b.gauge.restart()
		b.gauge.refresh(b, d.model.supply.status(b), d.model.packC())
		b.gauge.next = max(b.gauge.next, d.model.now)
		if d.tree == nil {
			return nil
		}
		if in {
			return d.tree.repair("sys/class/power_supply/" + name)
		}
		return d.tree.breakFile("sys/class/power_supply/"+name, Removed)
	}
	return fmt.Errorf("simdevice: no battery %q", name)
}

// StartWorkload begins to play a workload; one that plays already is dropped.
func (d *Device) StartWorkload(w Workload) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.model.start(w)
}

// SpoilNext multiplies the result's rate of the next workload by ratio, beyond
// its usual noise: an outlier to be found.
func (d *Device) SpoilNext(ratio float64) { d.do(func(m *model) { m.spoil = ratio }) }

// StopWorkload ends the workload and returns what it gave; ok is false when none
// was playing.
func (d *Device) StopWorkload() (played Played, ok bool) {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.model.play == nil {
		return Played{}, false
	}
	played = d.model.play.result()
	d.model.play = nil
	d.model.settle()
	return played, true
}

// Score is what the workload would report if it stopped now.
func (d *Device) Score() (played Played, ok bool) {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.model.play == nil {
		return Played{}, false
	}
	return d.model.play.result(), true
}
