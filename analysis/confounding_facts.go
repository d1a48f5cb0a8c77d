package analysis

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"
)

// nature are the facts in which devices differ because they are different
// devices: nobody could have made them equal, so a comparison between devices
// names them together in one sentence. Within a device they count as any other.
// Versions and memory are not among them: a reader must be told those.
var nature = map[string]string{
	"host_vendor": "model", "host_model": "model", "host_version": "model", "host_board": "model",
	"cpu_model": "processor", "cpu_microcode": "processor", "architecture": "processor",
	"cpus_online": "cores", "cores_active": "cores", "cpu_frequency_max_hertz": "highest clock",
	"firmware_date": "firmware", "gpu_driver": "graphics",
	FactFullEnergyWh: "battery", FactDesignEnergyWh: "battery", "battery_cycles": "battery", "battery_technology": "battery",
}

// tellFact is the relative difference below which two numbers count as the same
// fact: a battery's full energy and cycle count move from run to run. Common
// practice, no source.
const tellFact = 0.02

// differentFacts tells which facts, such as the governor or a driver's version,
// are not the same on both sides. Between devices those of their nature are only
// named.
func differentFacts(a, b *sideFacts, devices bool) []string {
	inA, inB := a.facts(), b.facts()
	var list, natural []string
	for _, key := range slices.Sorted(maps.Keys(inA)) {
		other := inB[key]
		if other == nil || sameFact(key, inA[key], other) {
			continue
		}
		if kind := nature[key]; devices && kind != "" {
			if !slices.Contains(natural, kind) {
				natural = append(natural, kind)
			}
			continue
		}
		list = append(list, fmt.Sprintf("different %s: %s with %s, %s with %s", key, factValues(key, inA[key]), a.name, factValues(key, other), b.name))
	}
	if len(natural) > 0 {
		list = append(list, fmt.Sprintf("by nature the devices also differ in %s (sweepd run show lists the facts)", strings.Join(natural, ", ")))
	}
	return list
}

// sameFact tells whether two lists of values say the same, or measured numbers so
// close that they do.
func sameFact(key string, a, b []string) bool {
	if slices.Equal(a, b) {
		return true
	}
	if _, measured := factUnit(key); !measured {
		return false
	}
	low, high := math.Inf(1), math.Inf(-1)
	for _, text := range slices.Concat(a, b) {
		v, err := strconv.ParseFloat(text, 64)
		if err != nil || !usable(v) {
			return false
		}
		low, high = min(low, v), max(high, v)
	}
	return high <= low*(1+tellFact)
}

// factUnit is how a fact with a unit in its key is shown.
func factUnit(key string) (shown unit, ok bool) {
	for suffix, u := range factUnits {
		if strings.HasSuffix(key, suffix) {
			return u, true
		}
	}
	return unit{}, false
}

type unit struct {
	symbol string
	one    float64 // in the key's unit
}

var factUnits = map[string]unit{
	"_bytes": {"GiB", 1 << 30}, "_hertz": {"GHz", 1e9}, "_wh": {"Wh", 1}, "_watts": {"W", 1}, "_cycles": {"cycles", 1},
}

// factValues writes the values of a fact, with a unit where it has one.
func factValues(key string, values []string) string {
	shown := slices.Clone(values)
	u, measured := factUnit(key)
	for i, text := range shown {
		if v, err := strconv.ParseFloat(text, 64); measured && err == nil && finite(v) {
			shown[i] = fmt.Sprintf("%.3g %s", v/u.one, u.symbol)
		}
	}
	return listedBy(" and ", slices.Compact(shown))
}

// facts lists the sorted values that each fact takes.
func (f *sideFacts) facts() map[string][]string {
	seen := make(map[[2]string]bool)
	values := make(map[string][]string)
	for _, r := range f.runs {
		for key, value := range r.Facts {
			if at := [2]string{key, value}; !seen[at] {
				seen[at] = true
				values[key] = append(values[key], cmp.Or(strings.TrimSpace(value), "nothing"))
			}
		}
	}
	for key := range values {
		slices.Sort(values[key])
	}
	return values
}
