package collectors

import (
	"strconv"
	"strings"
	"sync"

	"github.com/shirou/gopsutil/v3/cpu"
	"github.com/shirou/gopsutil/v3/host"
	"github.com/shirou/gopsutil/v3/mem"

	"sweepd/run"
)

// Fact is a key of ReadFacts and what its value says.
type Fact struct{ Key, Meaning string }

// FactKeys lists every key that ReadFacts or a person may give, in the order in which a
// person would read them. A key ends in the value's unit where it has one.
// Several values of one key (two batteries, clusters with their own governor)
// are joined by ", ".
var FactKeys = []Fact{
	{"host_vendor", "who made the machine"},
	{"host_model", "the maker's name for the model"},
	{"host_version", "the maker's version of the model"},
	{"host_board", "main board"},
	{run.FactHardwareID, "the machine's id in its firmware, hidden by a keyed hash; Linux gives it to root only"},
	{run.FactSystemID, "the installed system's id, hidden by a keyed hash (Linux)"},
	{"firmware_version", "version of the system firmware"},
	{"firmware_date", "date of the system firmware, as the firmware writes it"},
	{"controller_firmware_version", "version of the embedded controller's firmware"},
	{"kernel_version", "kernel release"},
	{"os", "operating system and its version"},
	{"architecture", "instruction set the system was built for"},
	{"cpu_model", "processor"},
	{"cpu_microcode", "version of the processor's microcode"},
	{"cpus_online", "logical CPUs in use"},
	{"cores_active", "physical cores in use"},
	{"smt", "several threads on a core: on, off, forceoff, notsupported, notimplemented"},
	{"cpu_driver", "driver of the CPU clock"},
	{"cpu_governor", "policy that chooses the CPU clock"},
	{"cpu_energy_preference", "energy preference handed to the processor: a name, or 0 (performance) to 255 (saving)"},
	{"cpu_frequency_max_hertz", "highest CPU clock that is allowed now"},
	{"cpu_boost", "clocks above nominal: on or off"},
	{"platform_profile", "profile of the platform's firmware"},
	{"power_scheme", "identifier of the active power scheme (Windows)"},
	{"power_mode", "power mode that the user chose for the supply in force (Windows)"},
	{"battery_saver", "battery saver: on or off (Windows)"},
	{"memory_total_bytes", "memory that the system can use"},
	{"gpu_driver", "kernel driver of the GPU"},
	{"gpu_driver_version", "the driver's own version; left out where it is part of the kernel"},
	{"gpu_driver_build", "checksum of the driver's source, srcversion; left out where it is built into the kernel"},
	{"gpu_firmware_version", "version of the GPU's firmware"},
	{"gpu_performance_level", "how the GPU's clock is chosen (auto, low, high, manual, ...)"},
	{"battery_design_wh", "content of the battery when new, all batteries together"},
	{"battery_full_wh", "content of the battery when full today, all batteries together"},
	{"battery_cycles", "charge cycles so far"},
	{"battery_technology", "chemistry"},
	{"charger_type", "what feeds the machine now: Mains, or the USB type in force (PD, C, DCP, ...)"},
	{"charger_watts", "rating of the charger: highest voltage times highest current it offers"},
	{"display_brightness_ratio", "brightness of the display, 0 to 1 of what its backlight can"},
	{run.DisplayRefresh, "how often the display is refreshed a second: read on Windows, else typed"},
	{"radio_wlan", "wireless network: on, off, or off by its switch"},
	{"radio_bluetooth", "Bluetooth: on, off, or off by its switch"},
	{"radio_wwan", "mobile network: on, off, or off by its switch"},
	{"wlan_link", "connection of the wireless network: up, down, dormant"},
	{run.RoomTemperature, "temperature of the room, typed"},
	{run.WorkloadVersion, "version of the workload, typed"},
}

// ReadFacts gathers what describes the machine as it stands: model, versions,
// cores, memory, policies, battery, charger, display, radios. The values are for people and for
// telling whether two runs were made under the same conditions; FactKeys says
// what they mean. What cannot be found out is left out. Serial numbers are not
// read, and of ids only a keyed hash is given. It opens some fifty files, so call it once
// a run.
func ReadFacts(roots Roots) map[string]string {
	f := facts{}
	f.readHost(roots)
	f.readPlatform(roots)
	f.readMachine(roots)
	return f
}

type facts map[string]string

// set keeps a value that says something.
func (f facts) set(key, value string) {
	value = strings.TrimSpace(value)
	if value != "" && !placeholder(value) {
		f[key] = value
	}
}

// setDefault keeps a value where there is none yet.
func (f facts) setDefault(key, value string) {
	if _, known := f[key]; !known {
		f.set(key, value)
	}
}

// placeholder tells whether a text is what firmware holds where nobody filled
// in the real one. Common practice, no source.
func placeholder(value string) bool {
	switch strings.Trim(strings.ToLower(value), ". ") {
	case "to be filled by o.e.m", "default string", "not specified", "not applicable", "none", "n/a", "unknown",
		"system manufacturer", "system product name", "system version", "o.e.m", "<unknown>":
		return true
	}
	return false
}

// readHost reads what gopsutil tells on every system.
func (f facts) readHost(roots Roots) {
	ctx := roots.context()
	if release, err := host.KernelVersionWithContext(ctx); err == nil {
		f.set("kernel_version", release)
	}
	f.set("os", roots.operatingSystem())
	if architecture, err := host.KernelArch(); err == nil {
		f.set("architecture", architecture)
	}
	if cpus, err := cpu.InfoWithContext(ctx); err == nil && len(cpus) > 0 {
		f.set("cpu_model", strings.Join(strings.Fields(cpus[0].ModelName), " "))
		f.set("cpu_microcode", cpus[0].Microcode)
	}
	if n, err := cpu.CountsWithContext(ctx, true); err == nil && n > 0 {
		f.set("cpus_online", strconv.Itoa(n))
	}
	if n, err := cpu.CountsWithContext(ctx, false); err == nil && n > 0 {
		f.set("cores_active", strconv.Itoa(n))
	}
	if m, err := mem.VirtualMemoryWithContext(ctx); err == nil && m.Total > 0 {
		f.set("memory_total_bytes", strconv.FormatUint(m.Total, 10))
	}
}

// operatingSystems are those of each etc, asked once: the library starts a program for it on
// some systems, and a run should not begin with that.
var operatingSystems sync.Map

func (r Roots) operatingSystem() string {
	ask, _ := operatingSystems.LoadOrStore(r.Etc, sync.OnceValue(func() string {
		platform, _, version, err := host.PlatformInformationWithContext(r.context())
		if err != nil {
			return ""
		}
		return platform + " " + version
	}))
	return ask.(func() string)()
}

// distinct joins the different values in order of appearance.
func distinct(values []string) string {
	var kept []string
	seen := map[string]bool{}
	for _, v := range values {
		if v != "" && !seen[v] {
			seen[v] = true
			kept = append(kept, v)
		}
	}
	return strings.Join(kept, ", ")
}
