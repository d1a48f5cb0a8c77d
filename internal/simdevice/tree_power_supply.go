package simdevice

import (
	"fmt"
	"strconv"
	"strings"
)

// batteryFiles are the files of one battery in class/power_supply, all from one
// refresh of its gauge (Documentation/ABI/testing/sysfs-class-power).
type batteryFiles struct {
	b                                  *battery
	seq                                uint64
	status, rate, content, full, volts *file
	percent, level, temp               *file
	start, stop, uevent                *file
	milliVolts, watts, milliAmps       *file // its hwmon
}

// batterySet is all batteries.
type batterySet []*batteryFiles

func newBatteryFiles(d *Device, t *tree) part {
	var set batterySet
	for i, b := range d.model.packs {
		set = append(set, newOneBattery(d, t, b, i))
	}
	if d.cfg.Peripheral {
		dir := t.member("power_supply", "pad-battery", "pci0000:00/0000:00:14.0/usb1/1-3")
		for name, text := range map[string]string{
			"type": "Battery", "scope": "Device", "status": "Discharging", "capacity": "63",
			"present": "1", "online": "1", "model_name": "Pad", "manufacturer": "Example Works",
		} {
			t.fixed(dir+"/"+name, text)
		}
	}
	return set
}

func newOneBattery(d *Device, t *tree, b *battery, i int) *batteryFiles {
	device := fmt.Sprintf("LNXSYSTM:00/LNXSYBUS:00/PNP0C0A:%02X", i)
	dir := t.member("power_supply", b.cfg.Name, device) + "/"
	f := &batteryFiles{b: b}
	kind, rate := "energy", "power_now"
	if b.cfg.ReportsCharge {
		kind, rate = "charge", "current_now"
	}
	t.fixed(dir+"type", "Battery")
	t.fixed(dir+"scope", "System")
	t.fixed(dir+"technology", "Li-ion")
	t.fixed(dir+"manufacturer", "Example Works")
	t.fixed(dir+"model_name", "Pack "+strconv.Itoa(i))
	t.fixed(dir+"serial_number", fmt.Sprintf("%05d", 1000+i))
	t.fixed(dir+"health", "Good")
	t.fixed(dir+"voltage_min_design", strconv.FormatInt(micro(b.cfg.designV()), 10))
	t.fixed(dir+"cycle_count", "37")
	t.live(dir+"present", "1")
	f.status = t.live(dir+"status", "Unknown")
	if !b.cfg.NoRate {
		f.rate = t.live(dir+rate, "0")
	}
	f.content = t.live(dir+kind+"_now", "0")
	f.full = t.live(dir+kind+"_full", "0")
	t.fixed(dir+kind+"_full_design", strconv.FormatInt(b.gauge.shown.design, 10))
	f.volts = t.live(dir+"voltage_now", "0")
	f.percent = t.live(dir+"capacity", "0")
	f.level = t.live(dir+"capacity_level", "Normal")
	f.temp = t.live(dir+"temp", "0")
	f.start = t.live(dir+"charge_control_start_threshold", "0")
	f.stop = t.live(dir+"charge_control_end_threshold", "100")
	f.uevent = t.live(dir+"uevent", "")
	f.addHwmon(t, dir, i)
	return f
}

// addHwmon adds the hwmon that the kernel makes for every power supply.
func (f *batteryFiles) addHwmon(t *tree, dir string, i int) {
	chip := fmt.Sprintf("hwmon%d", 5+i)
	t.link("sys/class/hwmon/"+chip, dir+chip)
	chip = dir + chip + "/"
	t.fixed(chip+"name", f.b.cfg.Name)
	t.link(chip+"device", strings.TrimSuffix(dir, "/"))
	f.milliVolts = t.live(chip+"in0_input", "0")
	switch {
	case f.b.cfg.NoRate:
	case f.b.cfg.ReportsCharge:
		f.milliAmps = t.live(chip+"curr1_input", "0")
	default:
		f.watts = t.live(chip+"power1_input", "0")
	}
}

func (set batterySet) applyWrites(d *Device, t *tree) {
	for _, f := range set {
		text, ok := t.written(f.stop)
		if !ok {
			continue
		}
		if percent, err := strconv.Atoi(text); err == nil && percent >= 1 && percent <= 100 && !d.cfg.IgnoreWrites {
			d.model.supply.limitCharge(float64(percent) / 100)
		}
		t.restore(f.stop)
	}
}

func (set batterySet) flush(d *Device, t *tree) {
	for _, f := range set {
		t.putInt(f.stop, int64(d.model.supply.stop*100+0.5))
		t.putInt(f.start, int64(d.model.supply.start*100+0.5))
		if f.seq != f.b.gauge.seq && f.b.present {
			f.seq = f.b.gauge.seq
			f.write(t, &f.b.gauge.shown)
		}
	}
}

func (f *batteryFiles) write(t *tree, s *shown) {
	t.putText(f.status, s.status)
	t.putInt(f.rate, s.rate)
	t.putInt(f.content, s.content)
	t.putInt(f.full, s.full)
	t.putInt(f.volts, s.volts)
	t.putInt(f.percent, s.percent)
	t.putText(f.level, s.level())
	t.putInt(f.temp, s.deciC)
	t.putInt(f.milliVolts, s.volts/1000)
	t.putInt(f.watts, s.rate)
	t.putInt(f.milliAmps, s.rate/1000)
	t.scratch = f.b.appendUevent(t.scratch[:0], s)
	t.put(f.uevent, t.scratch)
}

// level is the word of capacity_level.
func (s *shown) level() string {
	switch {
	case s.status == "Full":
		return "Full"
	case s.percent <= 3:
		return "Critical"
	case s.percent <= 10:
		return "Low"
	}
	return "Normal"
}

// appendUevent lists the same properties as the files.
func (b *battery) appendUevent(text []byte, s *shown) []byte {
	kind, rate := "ENERGY", "POWER_NOW"
	if b.cfg.ReportsCharge {
		kind, rate = "CHARGE", "CURRENT_NOW"
	}
	text = append(text, "DEVTYPE=power_supply\nPOWER_SUPPLY_NAME="...)
	text = append(text, b.cfg.Name...)
	text = append(text, "\nPOWER_SUPPLY_TYPE=Battery\nPOWER_SUPPLY_STATUS="...)
	text = append(text, s.status...)
	text = append(text, "\nPOWER_SUPPLY_PRESENT=1\nPOWER_SUPPLY_TECHNOLOGY=Li-ion\n"...)
	number := func(name string, v int64) {
		text = append(text, "POWER_SUPPLY_"...)
		text = append(text, name...)
		text = append(text, '=')
		text = append(strconv.AppendInt(text, v, 10), '\n')
	}
	number("VOLTAGE_MIN_DESIGN", micro(b.cfg.designV()))
	number("VOLTAGE_NOW", s.volts)
	if !b.cfg.NoRate {
		number(rate, s.rate)
	}
	number(kind+"_FULL_DESIGN", s.design)
	number(kind+"_FULL", s.full)
	number(kind+"_NOW", s.content)
	number("CAPACITY", s.percent)
	return text
}

// adapterFiles show the charger: an adapter of type Mains, a USB-C port, or both.
type adapterFiles struct {
	mains                  *file
	usb, usbType           *file
	amps, ampsMax, voltage *file
}

func newAdapterFiles(d *Device, t *tree) part {
	f := &adapterFiles{}
	if d.cfg.Supply != SupplyUSB {
		dir := t.member("power_supply", "ADP0", "LNXSYSTM:00/LNXSYBUS:00/ACPI0003:00") + "/"
		t.fixed(dir+"type", "Mains")
		f.mains = t.live(dir+"online", "0")
	}
	if d.cfg.Supply != SupplyMains {
		dir := t.member("power_supply", "port0-source", "LNXSYSTM:00/LNXSYBUS:00/USBC000:00") + "/"
		t.fixed(dir+"type", "USB")
		t.fixed(dir+"scope", "System")
		f.usb = t.live(dir+"online", "0")
		f.usbType = t.live(dir+"usb_type", usbUnplugged)
		f.voltage = t.live(dir+"voltage_now", "0")
		f.amps = t.live(dir+"current_now", "0")
		f.ampsMax = t.live(dir+"current_max", "0")
		t.fixed(dir+"voltage_max", "20000000")
		t.fixed(dir+"voltage_min", "5000000")
	}
	return f
}

// Texts of usb_type: the active type in brackets.
const (
	usbPlugged   = "C [PD] PD_PPS"
	usbUnplugged = "[C] PD PD_PPS"
	usbVolts     = 20.0
)

func (f *adapterFiles) flush(d *Device, t *tree) {
	m := d.model
	online := m.supply.online(m.now)
	t.putInt(f.mains, flag(online))
	if f.usb == nil {
		return
	}
	t.putInt(f.usb, flag(online))
	if online {
		t.putText(f.usbType, usbPlugged)
		t.putInt(f.voltage, micro(usbVolts))
		t.putInt(f.amps, micro(m.supply.mainsW/usbVolts))
		t.putInt(f.ampsMax, micro(m.supply.chargerW/usbVolts))
		return
	}
	t.putText(f.usbType, usbUnplugged)
	t.putInt(f.voltage, 0)
	t.putInt(f.amps, 0)
	t.putInt(f.ampsMax, 0)
}

func flag(on bool) int64 {
	if on {
		return 1
	}
	return 0
}
