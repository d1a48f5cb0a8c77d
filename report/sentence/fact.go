package sentence

import (
	"cmp"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"

	"sweepd/run"
)

// A Fact is what a device says of itself, in words.
type Fact struct{ Name, Value string }

// facts names the facts that devices say of themselves, in the order in which a
// person would read them. kind is the word for what two devices differ in if this fact
// differs; where it is empty, the name is that word.
var facts = []struct{ key, name, kind string }{
	{"host_vendor", "maker", "model"},
	{"host_model", "model", ""},
	{"host_version", "version of the model", "model"},
	{"host_board", "main board", "model"},
	{run.FactHardwareID, "id of the machine, hidden", "machine"},
	{run.FactSystemID, "id of the system, hidden", "system"},
	{"firmware_version", "firmware version", ""},
	{"firmware_date", "firmware date", "firmware"},
	{"controller_firmware_version", "firmware version of the controller", ""},
	{"kernel_version", "kernel version", ""},
	{"os", "operating system", ""},
	{"architecture", "instruction set", "processor"},
	{"cpu_model", "processor", ""},
	{"cpu_microcode", "microcode version", "processor"},
	{"cpus_online", "logical CPUs in use", "cores"},
	{"cores_active", "cores in use", "cores"},
	{"smt", "several threads on a core", ""},
	{"cpu_driver", "driver of the CPU clock", ""},
	{"cpu_governor", "governor of the CPU clock", ""},
	{"cpu_energy_preference", "energy preference of the CPU", ""},
	{"cpu_frequency_max_hertz", "highest CPU clock allowed", "highest clock"},
	{"cpu_boost", "CPU boost", ""},
	{"platform_profile", "platform profile", ""},
	{"power_scheme", "power scheme", ""},
	{"power_mode", "power mode", ""},
	{"battery_saver", "battery saver", ""},
	{"memory_total_bytes", "memory", ""},
	{"gpu_driver", "GPU driver", "graphics"},
	{"gpu_driver_version", "version of the GPU driver", ""},
	{"gpu_driver_build", "build of the GPU driver", ""},
	{"gpu_firmware_version", "firmware version of the GPU", ""},
	{"gpu_performance_level", "performance level of the GPU", ""},
	{"battery_design_wh", "battery when new", "battery"},
	{"battery_full_wh", "battery when full today", "battery"},
	{"battery_cycles", "charge cycles of the battery", "battery"},
	{"battery_technology", "chemistry of the battery", "battery"},
	{"charger_type", "type of the charger", ""},
	{"charger_watts", "rating of the charger", ""},
	{"display_brightness_ratio", "display brightness", ""},
	{"display_refresh_hertz", "refresh rate of the display", ""},
	{"radio_wlan", "wireless network", ""},
	{"radio_bluetooth", "Bluetooth", ""},
	{"radio_wwan", "mobile network", ""},
	{"wlan_link", "connection of the wireless network", ""},
	{"room_celsius", "room temperature", ""},
	{"workload_version", "version of the workload", ""},
	{"agent_version", "sweepd version", ""},
}

// factUnits say how numbers with a unit at the end of their key are written.
var factUnits = []struct {
	end   string
	write func(v float64) string
}{
	{"_bytes", func(v float64) string { return WithUnit(v, "bytes") }},
	{"_hertz", func(v float64) string { return WithUnit(v, "hertz") }},
	{"_wh", func(v float64) string { return Watts(v) + " Wh" }},
	{"_watts", func(v float64) string { return Watts(v) + " W" }},
	{"_ratio", func(v float64) string { return Fixed(100*v, 0) + " %" }},
	{"_celsius", func(v float64) string { return Significant(v) + " °C" }},
}

// Facts writes the values that each fact takes, in reading order, those without a
// known name last.
func Facts(values map[string][]string) []Fact {
	keys := slices.SortedFunc(maps.Keys(values), func(a, b string) int { return cmp.Or(cmp.Compare(place(a), place(b)), cmp.Compare(a, b)) })
	list := make([]Fact, len(keys))
	for i, key := range keys {
		list[i] = Fact{FactName(key), factValues(key, values[key])}
	}
	return list
}

// place is where a fact stands in reading order, behind all others where its key is not
// known.
func place(key string) int {
	for i := range facts {
		if facts[i].key == key {
			return i
		}
	}
	return len(facts)
}

// FactName names a fact by its key.
func FactName(key string) string {
	if i := place(key); i < len(facts) {
		return facts[i].name
	}
	for _, u := range factUnits {
		key = strings.TrimSuffix(key, u.end)
	}
	return strings.ReplaceAll(key, "_", " ")
}

// FactValue writes a fact's value as a person reads it: 3.4 GHz, 16.0 GiB. What is
// no number stays as it is.
func FactValue(key, value string) string {
	v, err := strconv.ParseFloat(value, 64)
	if err != nil || !(v >= 0 || strings.HasSuffix(key, "_celsius")) || v >= math.MaxInt64 {
		return cmp.Or(value, "nothing")
	}
	for _, u := range factUnits {
		if strings.HasSuffix(key, u.end) {
			return u.write(v)
		}
	}
	return value
}

// factValues writes several values of a fact, each once.
func factValues(key string, values []string) string {
	var shown []string
	for _, v := range values {
		if text := FactValue(key, v); !slices.Contains(shown, text) {
			shown = append(shown, text)
		}
	}
	return listed(shown)
}

// kindsOf names what devices differ in if these facts of theirs differ, in reading order.
func kindsOf(keys []string) []string {
	sorted := slices.Clone(keys)
	slices.SortStableFunc(sorted, func(a, b string) int { return cmp.Compare(place(a), place(b)) })
	var kinds []string
	for _, key := range sorted {
		kind := FactName(key)
		if i := place(key); i < len(facts) {
			kind = cmp.Or(facts[i].kind, kind)
		}
		if !slices.Contains(kinds, kind) {
			kinds = append(kinds, kind)
		}
	}
	return kinds
}
