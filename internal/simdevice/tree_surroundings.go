package simdevice

import "math"

// maxBrightness is the highest step of the backlight.
const maxBrightness = 1000

// addBacklight adds class/backlight (Documentation/ABI/stable/sysfs-class-backlight).
func addBacklight(d *Device, t *tree) {
	dir := t.member("backlight", "sim_backlight", gpuDevice) + "/"
	t.fixed(dir+"type", "raw")
	t.fixed(dir+"bl_power", "0")
	t.fixed(dir+"max_brightness", "1000")
	shown := func() int64 { return int64(math.Round(maxBrightness * d.model.shownBrightness())) }
	t.number(dir+"actual_brightness", shown)
	t.number(dir+"brightness", shown)
}

// addRadios adds class/rfkill (Documentation/ABI/stable/sysfs-class-rfkill) and the
// interface of the wireless network.
func addRadios(d *Device, t *tree) {
	const wireless = "pci0000:00/0000:00:02.2/0000:02:00.0"
	for name, kind := range map[string]string{"rfkill0": "wlan", "rfkill1": "bluetooth"} {
		dir := t.member("rfkill", name, wireless) + "/"
		t.fixed(dir+"type", kind)
		t.fixed(dir+"hard", "0")
		t.number(dir+"soft", func() int64 {
			if d.model.radiosOff {
				return 1
			}
			return 0
		})
	}
	dir := t.member("net", "wlan0", wireless) + "/"
	t.fail(t.mkdir(dir + "wireless"))
	t.word(dir+"operstate", func() string {
		if d.model.radiosOff {
			return "down"
		}
		return "up"
	})
}

// SetBrightness sets the brightness of the display on mains, 0 to 1; unplugged the system
// turns it down to Config.BatteryDim of that.
func (d *Device) SetBrightness(ratio float64) {
	d.do(func(m *model) { m.brightness = math.Min(math.Max(ratio, 0), 1) })
}

// SwitchRadios switches all radios on or off.
func (d *Device) SwitchRadios(on bool) { d.do(func(m *model) { m.radiosOff = !on }) }

// shownBrightness is the brightness of the display now, 0 to 1.
func (m *model) shownBrightness() float64 {
	if m.supply.plugged {
		return m.brightness
	}
	return m.brightness * m.cfg.BatteryDim
}
