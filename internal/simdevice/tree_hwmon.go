package simdevice

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strconv"
	"time"
)

// hwmon makes a hwmon folder with its name and a link to its device, and returns
// its path with a slash.
func (t *tree) hwmon(name, folder, device string) string {
	dir := t.member("hwmon", folder, device)
	t.fixed(dir+"/name", name)
	t.link(dir+"/device", "sys/devices/"+device)
	return dir + "/"
}

// addHwmon adds the temperatures of processor, firmware and disk
// (Documentation/hwmon/sysfs-interface.rst).
func addHwmon(d *Device, t *tree) {
	m := d.model
	dir := t.hwmon("acpitz", "hwmon0", "virtual/thermal/thermal_zone0")
	t.number(dir+"temp1_input", func() int64 { return roundTo(m.caseC()*1000, 100) })
	t.fixed(dir+"temp1_crit", strconv.FormatInt(milli(criticalC), 10))

	dir = t.hwmon("cpu_thermal", "hwmon1", "platform/cpu_thermal.0")
	t.number(dir+"temp1_input", func() int64 { return roundTo(m.dieC()*1000, 125) })
	t.fixed(dir+"temp1_label", "Package id 0")
	t.fixed(dir+"temp1_max", strconv.FormatInt(milli(throttleC), 10))
	t.fixed(dir+"temp1_crit", strconv.FormatInt(milli(criticalC), 10))

	dir = t.hwmon("nvme", "hwmon2", "pci0000:00/0000:00:0e.0/nvme/nvme0")
	t.number(dir+"temp1_input", func() int64 { return roundTo((m.caseC()+9)*1000, 1000) - 150 })
	t.fixed(dir+"temp1_label", "Composite")
	t.fixed(dir+"temp1_max", "84850")
	t.fixed(dir+"temp1_min", "-273150") // means none
	t.fixed(dir+"temp1_crit", "94850")
}

// addFan adds the fan's speed. With HwmonInDevice name and values lie in
// hwmonN/device, as some drivers have it.
func addFan(d *Device, t *tree) {
	const device = "platform/sim-fan"
	var dir string
	if d.cfg.HwmonInDevice {
		dir = "sys/devices/" + device + "/"
		inner := t.member("hwmon", "hwmon4", device)
		t.link(inner+"/device", "sys/devices/"+device)
		t.fixed(dir+"name", "sim_fan")
	} else {
		dir = t.hwmon("sim_fan", "hwmon4", device)
	}
	t.number(dir+"fan1_input", func() int64 { return int64(math.Round(d.model.fanRPM())) })
	t.number(dir+"pwm1", func() int64 { return int64(math.Round(255 * d.model.cool.fan)) })
	t.fixed(dir+"fan1_label", "System fan")
}

// fanRPM is the fan's speed in revolutions a minute.
func (m *model) fanRPM() float64 {
	const full = 5400
	return m.cool.fan * full
}

// addThermometers adds temperatures besides those of the model, on chips of 8.
func addThermometers(d *Device, t *tree) {
	const channels = 8
	dir := ""
	for i := range d.cfg.Thermometers {
		chip, channel := i/channels, i%channels
		if channel == 0 {
			dir = t.hwmon(fmt.Sprintf("sim_chip_%d", chip), fmt.Sprintf("hwmon%d", 100+chip), fmt.Sprintf("platform/sim-chip.%d", chip))
		}
		th := &thermometer{milli: 45_000, rng: newRand(d.cfg.Seed, streamThermometers+uint64(i))}
		t.number(fmt.Sprintf("%stemp%d_input", dir, 1+channel), func() int64 { return th.at(d.model.now) })
	}
}

// thermometer is a temperature that wanders by itself between 30 and 60 degrees
// Celsius, so that its text keeps its length.
type thermometer struct {
	milli int64 // 0.001 degrees Celsius
	rng   *rand.Rand
	moved time.Duration // when it moved last
}

// at is the temperature at a time not before the last: ten times a second it
// moves by an eighth of a degree, or not.
func (th *thermometer) at(now time.Duration) int64 {
	const every = 100 * time.Millisecond
	for ; th.moved+every <= now; th.moved += every {
		th.milli = min(max(th.milli+125*(th.rng.Int64N(3)-1), 30_000), 60_000)
	}
	return th.milli
}
