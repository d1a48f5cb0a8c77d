package simdevice

import (
	"fmt"
	"strconv"
	"strings"
	"syscall"
)

// addBatteries adds the batteries to class/power_supply.
func addBatteries(d *Device, t *tree) {
	for i, b := range d.model.packs {
		addBattery(d, t, b, i)
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
}

// addBattery adds the files of one battery, all from one refresh of its gauge
// (Documentation/ABI/testing/sysfs-class-power).
func addBattery(d *Device, t *tree, b *battery, i int) {
	device := fmt.Sprintf("LNXSYSTM:00/LNXSYBUS:00/PNP0C0A:%02X", i)
	dir := t.member("power_supply", b.cfg.Name, device) + "/"
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
	t.fixed(dir+kind+"_full_design", strconv.FormatInt(b.gauge.shown.design, 10))

	s, supply := &b.gauge.shown, &d.model.supply
	t.number(dir+"present", func() int64 { return 1 })
	t.word(dir+"status", func() string { return s.status })
	if !b.cfg.NoRate {
		t.number(dir+rate, func() int64 { return s.rate })
	}
	t.number(dir+kind+"_now", func() int64 { return s.content })
	t.number(dir+kind+"_full", func() int64 { return s.full })
	t.number(dir+"voltage_now", func() int64 { return s.volts })
	t.number(dir+"capacity", func() int64 { return s.percent })
	t.word(dir+"capacity_level", s.level)
	t.number(dir+"temp", func() int64 { return s.deciC })
	t.number(dir+"charge_control_start_threshold", func() int64 { return int64(supply.start*100 + 0.5) })
	t.number(dir+"charge_control_end_threshold", func() int64 { return int64(supply.stop*100 + 0.5) }).setting(func(text string) error {
		percent, err := strconv.Atoi(text)
		if err != nil || percent < 1 || percent > 100 {
			return syscall.EINVAL
		}
		supply.limitCharge(float64(percent) / 100)
		return nil
	})
	t.text(dir+"uevent", func(text []byte) []byte { return b.appendUevent(text, s) })
	addBatteryHwmon(t, b, dir, i)
}

// addBatteryHwmon adds the hwmon that the kernel makes for every power supply.
func addBatteryHwmon(t *tree, b *battery, dir string, i int) {
	chip := fmt.Sprintf("hwmon%d", 5+i)
	t.link("sys/class/hwmon/"+chip, dir+chip)
	chip = dir + chip + "/"
	t.fixed(chip+"name", b.cfg.Name)
	t.link(chip+"device", strings.TrimSuffix(dir, "/"))
	s := &b.gauge.shown
	t.number(chip+"in0_input", func() int64 { return s.volts / 1000 })
	switch {
	case b.cfg.NoRate:
	case b.cfg.ReportsCharge:
		t.number(chip+"curr1_input", func() int64 { return s.rate / 1000 })
	default:
		t.number(chip+"power1_input", func() int64 { return s.rate })
	}
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

// addAdapter adds the charger: an adapter of type Mains, a USB-C port, or both.
func addAdapter(d *Device, t *tree) {
	m := d.model
	online := func() bool { return m.supply.online(m.now) }
	onlineFlag := func() int64 { return flag(online()) }
	if d.cfg.Supply != SupplyUSB {
		dir := t.member("power_supply", "ADP0", "LNXSYSTM:00/LNXSYBUS:00/ACPI0003:00") + "/"
		t.fixed(dir+"type", "Mains")
		t.number(dir+"online", onlineFlag)
	}
	if d.cfg.Supply == SupplyMains {
		return
	}
	whileOnline := func(value func() float64) func() int64 {
		return func() int64 {
			if !online() {
				return 0
			}
			return micro(value())
		}
	}
	dir := t.member("power_supply", "port0-source", "LNXSYSTM:00/LNXSYBUS:00/USBC000:00") + "/"
	t.fixed(dir+"type", "USB")
	t.fixed(dir+"scope", "System")
	t.number(dir+"online", onlineFlag)
	t.word(dir+"usb_type", func() string { // the active type in brackets
		if online() {
			return "C [PD] PD_PPS"
		}
		return "[C] PD PD_PPS"
	})
	const volts = 20.0
	t.number(dir+"voltage_now", whileOnline(func() float64 { return volts }))
	t.number(dir+"current_now", whileOnline(func() float64 { return m.supply.mainsW / volts }))
	t.number(dir+"current_max", whileOnline(func() float64 { return m.supply.chargerW / volts }))
	t.fixed(dir+"voltage_max", "20000000")
	t.fixed(dir+"voltage_min", "5000000")
}

func flag(on bool) int64 {
	if on {
		return 1
	}
	return 0
}
