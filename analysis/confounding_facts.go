package analysis

import (
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"

	"sweepd/run"
)

// nature are the facts in which devices differ because they are different
// devices: nobody could have made them equal, so a comparison between devices
// names them together in one note. Within a device they count as any other.
// Versions and memory are not among them: a reader must be told those.
var nature = []string{
	"host_vendor", "host_model", "host_version", "host_board",
	"cpu_model", "cpu_microcode", "architecture",
	"cpus_online", "cores_active", "cpu_frequency_max_hertz",
	"firmware_date", "gpu_driver",
	FactFullEnergyWh, FactDesignEnergyWh, "battery_cycles", "battery_technology",
}

// notableFact is the relative difference below which two numbers count as the same
// fact: a battery's full energy and cycle count move from run to run. Common
// practice, no source.
const notableFact = 0.02

// notableSteps are the differences below which two values of a fact count as the same, by
// the end of its key: a display that follows the light in the room moves by less, and so
// does a room that is kept warm. Common practice, no source.
var notableSteps = map[string]float64{"_ratio": 0.05, "_celsius": notableTemperature}

// differentFacts tells which facts, such as the governor or a driver's version,
// are not the same on both sides. Between devices those of their nature are only
// named. Ids are none of a side's: severalMachines tells of them.
func differentFacts(a, b *sideFacts, devices bool) []Note {
	inA, inB := a.facts(), b.facts()
	var list []Note
	var natural []string
	for _, key := range slices.Sorted(maps.Keys(inA)) {
		other := inB[key]
		if other == nil || key == run.FactHardwareID || key == run.FactSystemID || sameFact(key, inA[key], other) {
			continue
		}
		if devices && slices.Contains(nature, key) {
			natural = append(natural, key)
			continue
		}
		list = append(list, Note{Code: ConfounderFacts, Name: key, A: NoteSide{Side: a.name, Values: inA[key]}, B: NoteSide{Side: b.name, Values: other}})
	}
	if len(natural) > 0 {
		list = append(list, Note{Code: ConfounderDevices, Names: natural})
	}
	return list
}

// sameFact tells whether two lists of values say the same, or measured numbers so
// close that they do.
func sameFact(key string, a, b []string) bool {
	if slices.Equal(a, b) {
		return true
	}
	low, high := math.Inf(1), math.Inf(-1)
	for _, text := range slices.Concat(a, b) {
		v, err := strconv.ParseFloat(text, 64)
		if err != nil || !finite(v) {
			return false
		}
		low, high = min(low, v), max(high, v)
	}
	for end, step := range notableSteps {
		if strings.HasSuffix(key, end) {
			return high-low <= step+1e-9 // as decimals are written
		}
	}
	return low > 0 && high <= low*(1+notableFact) &&
		slices.ContainsFunc(measuredFacts, func(end string) bool { return strings.HasSuffix(key, end) })
}

// measuredFacts are the ends of the keys whose values are numbers with a unit.
var measuredFacts = []string{"_bytes", "_hertz", "_wh", "_watts", "_cycles"}

// facts lists the sorted values that each fact takes.
func (f *sideFacts) facts() map[string][]string {
	seen := make(map[[2]string]bool)
	values := make(map[string][]string)
	for _, r := range f.runs {
		for key, value := range r.Facts {
			if at := [2]string{key, value}; !seen[at] {
				seen[at] = true
				values[key] = append(values[key], strings.TrimSpace(value))
			}
		}
	}
	for key := range values {
		slices.Sort(values[key])
	}
	return values
}
