package collectors

import (
	"path/filepath"
	"strconv"
	"strings"
)

func (f facts) readPlatform(roots Roots) {
	f.readFirmware(roots)
	f.readCPUPolicy(roots)
	f.readGraphics(roots)
	f.readBatteries(roots)
	f.readCharger(roots)
	f.readDisplay(roots)
	f.readRadios(roots)
	f.set("kernel_version", staticText(roots.proc("sys", "kernel", "osrelease")))
	f.set("platform_profile", roots.platformProfile())
}

// readFirmware reads what the firmware tells of the machine: class/dmi/id
// (drivers/firmware/dmi-id.c), or
// the model of the device tree.
func (f facts) readFirmware(roots Roots) {
	id := roots.sys("class", "dmi", "id")
	for key, file := range map[string]string{
		"host_vendor": "sys_vendor", "host_model": "product_name", "host_version": "product_version",
		"host_board": "board_name", "firmware_version": "bios_version", "firmware_date": "bios_date",
		"controller_firmware_version": "ec_firmware_release",
	} {
		f.set(key, staticText(id, file))
	}
	f.setDefault("host_model", staticText(roots.sys("firmware", "devicetree", "base", "model")))
}

// readCPUPolicy reads how many CPUs are in use and who chooses their clock
// (Documentation/admin-guide/pm/cpufreq.rst, cputopology.rst).
func (f facts) readCPUPolicy(roots Roots) {
	cpus := roots.sys("devices", "system", "cpu")
	if n, ok := countCPUs([]byte(staticText(cpus, "online"))); ok && n > 0 {
		f.set("cpus_online", strconv.FormatInt(n, 10))
	}
	f.set("smt", staticText(cpus, "smt", "control"))
	var dirs []string
	for _, policy := range roots.frequencyPolicies() {
		dirs = append(dirs, policy.dir)
	}
	f.set("cpu_driver", distinct(fromEach(dirs, "scaling_driver")))
	f.set("cpu_governor", distinct(fromEach(dirs, "scaling_governor")))
	f.set("cpu_energy_preference", distinct(fromEach(dirs, "energy_performance_preference")))
	var highest int64
	for _, text := range fromEach(dirs, "scaling_max_freq") {
		if kilohertz, ok := parseInt([]byte(text)); ok {
			highest = max(highest, kilohertz)
		}
	}
	if highest > 0 {
		f.set("cpu_frequency_max_hertz", strconv.FormatInt(highest*1000, 10))
	}
	f.set("cpu_boost", boost(cpus))
}

// boost reads the general switch, or that of the drivers which say the opposite.
func boost(cpus string) string {
	on, off := "1", "0"
	text := staticText(cpus, "cpufreq", "boost")
	if inverted, _ := filepath.Glob(filepath.Join(cpus, "*_pstate", "no_turbo")); text == "" && len(inverted) > 0 {
		text, on, off = staticText(inverted[0]), "0", "1"
	}
	switch text {
	case on:
		return "on"
	case off:
		return "off"
	}
	return ""
}

// platformProfile reads the profile in force, from the file that stands for all
// drivers or, where there is none, from each driver's own.
func (r Roots) platformProfile() string {
	if profile := staticText(r.sys("firmware", "acpi", "platform_profile")); profile != "" {
		return profile
	}
	return distinct(fromEach(r.profileDrivers(), "profile"))
}

func (f facts) readGraphics(roots Roots) {
	var devices, drivers, versions, builds []string
	for _, card := range roots.graphicsCards() {
		devices = append(devices, card.device)
		drivers = append(drivers, linkName(card.device, "driver"))
		versions = append(versions, staticText(card.device, "driver", "module", "version"))
		builds = append(builds, staticText(card.device, "driver", "module", "srcversion"))
	}
	f.set("gpu_driver", distinct(drivers))
	f.set("gpu_driver_version", distinct(versions))
	f.set("gpu_driver_build", distinct(builds))
	f.set("gpu_firmware_version", distinct(fromEach(devices, "vbios_version")))
	f.set("gpu_performance_level", distinct(fromEach(devices, "power_dpm_force_performance_level")))
}

// fromEach reads one file of several folders.
func fromEach(dirs []string, file string) []string {
	values := make([]string, len(dirs))
	for i, dir := range dirs {
		values[i] = staticText(dir, file)
	}
	return values
}

func (f facts) readBatteries(roots Roots) {
	var dirs []string
	for _, s := range roots.powerSupplies() {
		if s.battery && staticText(s.dir, "present") != "0" {
			dirs = append(dirs, s.dir)
		}
	}
	for key, suffix := range map[string]string{"battery_design_wh": "full_design", "battery_full_wh": "full"} {
		sum, known := 0.0, len(dirs) > 0
		for _, dir := range dirs {
			wh, ok := wattHours(dir, suffix)
			sum, known = sum+wh, known && ok
		}
		if known {
			f.set(key, shortest(sum))
		}
	}
	var cycles []string
	for _, text := range fromEach(dirs, "cycle_count") {
		if n, ok := parseInt([]byte(text)); ok && n > 0 { // 0 also stands for unknown
			cycles = append(cycles, text)
		}
	}
	f.set("battery_cycles", strings.Join(cycles, ", "))
	f.set("battery_technology", distinct(fromEach(dirs, "technology")))
}

// wattHours reads energy_full or energy_full_design in µWh; where the battery
// counts charge, charge_* in µAh times the design voltage in µV.
func wattHours(dir, suffix string) (float64, bool) {
	if uwh, ok := parseInt([]byte(staticText(dir, "energy_"+suffix))); ok && uwh > 0 {
		return float64(uwh) * 1e-6, true
	}
	return microProduct(dir, "charge_"+suffix, "voltage_min_design")
}

// microProduct is the product of two files in millionths; ok is false where one
// of them does not say more than 0.
func microProduct(dir, a, b string) (product float64, ok bool) {
	x, okX := parseInt([]byte(staticText(dir, a)))
	y, okY := parseInt([]byte(staticText(dir, b)))
	if !okX || !okY || x <= 0 || y <= 0 {
		return 0, false
	}
	return float64(x) * float64(y) * 1e-12, true
}

// shortest writes a number with at most three decimals.
func shortest(v float64) string {
	text := strconv.FormatFloat(v, 'f', 3, 64)
	return strings.TrimSuffix(strings.TrimRight(text, "0"), ".")
}

// readCharger describes what feeds the machine now. Where several supplies are
// online (the firmware's mains beside the USB port), the one that states its
// rating counts, else the one that states its USB type.
func (f facts) readCharger(roots Roots) {
	best := -1
	for _, s := range roots.powerSupplies() {
		if online, ok := parseInt([]byte(staticText(s.dir, "online"))); s.battery || !ok || online == 0 {
			continue
		}
		kind, informed := chargerType(s.dir), 0
		if kind != staticText(s.dir, "type") {
			informed = 1
		}
		watts, rated := microProduct(s.dir, "voltage_max", "current_max")
		if rated {
			informed += 2
		}
		if informed <= best {
			continue
		}
		best = informed
		f.set("charger_type", kind)
		delete(f, "charger_watts")
		if rated {
			f.set("charger_watts", shortest(watts))
		}
	}
}

// chargerType is the USB type in brackets, "C [PD] PD_PPS", else the supply's
// type.
func chargerType(dir string) string {
	_, rest, open := strings.Cut(staticText(dir, "usb_type"), "[")
	if active, _, closed := strings.Cut(rest, "]"); open && closed && active != "" && active != "Unknown" {
		return active
	}
	return staticText(dir, "type")
}
