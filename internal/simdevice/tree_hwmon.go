package simdevice

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strconv"
	"time"
)

// hwmonFiles are the temperatures of processor, firmware and disk
// (Documentation/hwmon/sysfs-interface.rst).
type hwmonFiles struct{ die, board, disk *file }

// hwmon makes a hwmon folder with its name and a link to its device, and returns
// its path with a slash.
func (t *tree) hwmon(name, folder, device string) string {
	dir := t.member("hwmon", folder, device)
	t.fixed(dir+"/name", name)
	t.link(dir+"/device", "sys/devices/"+device)
	return dir + "/"
}

func newHwmonFiles(d *Device, t *tree) part {
	f := &hwmonFiles{}
	dir := t.hwmon("acpitz", "hwmon0", "virtual/thermal/thermal_zone0")
	f.board = t.live(dir+"temp1_input", "0")
	t.fixed(dir+"temp1_crit", strconv.FormatInt(milli(criticalC), 10))

	dir = t.hwmon("cpu_thermal", "hwmon1", "platform/cpu_thermal.0")
	f.die = t.live(dir+"temp1_input", "0")
	t.fixed(dir+"temp1_label", "Package id 0")
	t.fixed(dir+"temp1_max", strconv.FormatInt(milli(throttleC), 10))
	t.fixed(dir+"temp1_crit", strconv.FormatInt(milli(criticalC), 10))

	dir = t.hwmon("nvme", "hwmon2", "pci0000:00/0000:00:0e.0/nvme/nvme0")
	f.disk = t.live(dir+"temp1_input", "0")
	t.fixed(dir+"temp1_label", "Composite")
	t.fixed(dir+"temp1_max", "84850")
	t.fixed(dir+"temp1_min", "-273150") // means none
	t.fixed(dir+"temp1_crit", "94850")
	return f
}

func (f *hwmonFiles) flush(d *Device, t *tree) {
	m := d.model
	t.putInt(f.die, roundTo(m.dieC()*1000, 125))
	t.putInt(f.board, roundTo(m.caseC()*1000, 100))
	t.putInt(f.disk, roundTo((m.caseC()+9)*1000, 1000)-150)
}

// fanFiles are the fan's speed. With HwmonInDevice name and values lie in
// hwmonN/device, as some drivers have it.
type fanFiles struct{ rpm, pwm *file }

func newFanFiles(d *Device, t *tree) part {
	f := &fanFiles{}
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
	f.rpm = t.live(dir+"fan1_input", "0")
	f.pwm = t.live(dir+"pwm1", "0")
	t.fixed(dir+"fan1_label", "System fan")
	return f
}

func (f *fanFiles) flush(d *Device, t *tree) {
	t.putInt(f.rpm, int64(math.Round(d.model.fanRPM())))
	t.putInt(f.pwm, int64(math.Round(255*d.model.cool.fan)))
}

const fanMaxRPM = 5400

// fanRPM is the fan's speed in revolutions a minute.
func (m *model) fanRPM() float64 { return m.cool.fan * fanMaxRPM }

// thermometerFiles are temperatures besides those of the model. Each wanders by
// itself between 30 and 60 degrees Celsius, so that its text keeps its length.
type thermometerFiles struct {
	files []*file
	milli []int64
	rng   *rand.Rand
	moved time.Duration // when they moved last
}

func newThermometerFiles(d *Device, t *tree) part {
	const channels = 8 // of a chip
	f := &thermometerFiles{rng: newRand(d.cfg.Seed, streamThermometers)}
	dir := ""
	for i := range d.cfg.Thermometers {
		chip, channel := i/channels, i%channels
		if channel == 0 {
			dir = t.hwmon(fmt.Sprintf("sim_chip_%d", chip), fmt.Sprintf("hwmon%d", 100+chip), fmt.Sprintf("platform/sim-chip.%d", chip))
		}
		f.files = append(f.files, t.live(fmt.Sprintf("%stemp%d_input", dir, 1+channel), "45000"))
		f.milli = append(f.milli, 45_000)
	}
	return f
}

// flush moves each temperature by an eighth of a degree, or leaves it, ten times
// a second.
func (f *thermometerFiles) flush(d *Device, t *tree) {
	const every = 100 * time.Millisecond
	for ; f.moved+every <= d.model.now; f.moved += every {
		for i := range f.milli {
			f.milli[i] = min(max(f.milli[i]+125*(f.rng.Int64N(3)-1), 30_000), 60_000)
		}
	}
	for i, file := range f.files {
		t.putInt(file, f.milli[i])
	}
}
