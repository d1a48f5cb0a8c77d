package collectors

import (
	"math"
	"strconv"

	"sweepd/run"
)

// bound is what is believed of a quantity, in the SI unit of its sensors. A reading
// beyond is another unit, a mark for "unknown" or a spoilt register: it is missing,
// and the text as read is told.
type bound struct {
	low, high float64 // inclusive
	text      string  // the same for people
}

// The bounds, each generous for a handheld or any other portable computer. They are
// common practice, no source: nobody looked up the two that are named, as README says.
var (
	// USB power delivery ends at 240 W (USB PD 3.1); the largest
	// chargers, processors and graphics of portable computers stay below 400 W.
	believedWatts = bound{-1000, 1000, "-1000 to 1000 W"}
	// A limit may be a mark for none: 4090 W is in use (see noLimitWatts).
	believedLimit = bound{0, 10_000, "0 to 10000 W"}
	// Batteries have up to 6 cells in series, 26 V; power delivery up to 48 V; a
	// sensor chip may watch a negative rail.
	believedVolts = bound{-100, 100, "-100 to 100 V"}
	// 400 W on the 1 V of a processor, and some.
	believedAmperes = bound{-500, 500, "-500 to 500 A"}
	// Batteries of more than 160 Wh may not be carried into an aircraft (IATA).
	// A content that is worked out from charge may fall slightly below 0.
	believedJoules = bound{-0.1 * 3.6e6, 3.6e6, "-0.1 to 1 kWh"}
	// 1 kWh at the 2 V of one empty cell.
	believedCoulombs = bound{0, 1.8e6, "0 to 500 Ah"}
	// Silicon stops working long before 200 °C; the kernel's own mark for a missing
	// probe is -274 °C, and a thermistor may report volts.
	believedCelsius = bound{-60, 200, "-60 to 200 °C"}
	// No processor has run at 10 GHz.
	believedHertz = bound{0, 20e9, "0 to 20 GHz"}
	// The smallest and fastest fans turn some 30,000 times a minute.
	believedFan = bound{0, 1000, "0 to 1000 Hz, that is 60000 rpm"}
	// Some gauges show more than full.
	believedRatio = bound{0, 2, "0 to 200 %"}
	// No portable computer has 1000 TB of memory.
	believedBytes = bound{0, 1e15, "0 to 1000 TB"}
	// The kernel is built for at most 8192 processors (NR_CPUS of x86).
	believedCPUs = bound{1, 8192, "1 to 8192"}
	// A counter may stand anywhere; what it rises by is judged from reading to
	// reading. So may a code.
	believedAll = bound{math.Inf(-1), math.Inf(1), ""}
)

// boundOf is the bound of a sensor's readings.
func boundOf(s run.Sensor) bound {
	switch {
	case s.Kind == run.Counter:
		return believedAll
	case s.ID == run.PowerLimit:
		return believedLimit
	case s.ID == run.FanSpeed:
		return believedFan
	case s.ID == run.CPUsOnline:
		return believedCPUs
	}
	b, known := map[string]bound{
		"watts": believedWatts, "volts": believedVolts, "amperes": believedAmperes, "joules": believedJoules,
		"celsius": believedCelsius, "hertz": believedHertz, "ratio": believedRatio, "bytes": believedBytes,
	}[s.Unit]
	if !known {
		return believedAll
	}
	return b
}

func boundsOf(sensors []run.Sensor) []bound {
	list := make([]bound, len(sensors))
	for i, s := range sensors {
		list[i] = boundOf(s)
	}
	return list
}

// refuse is the error of a reading beyond the bound that no file shows as it is: a
// system call's, or one worked out from others.
func (b bound) refuse(s run.Sensor, v float64) error {
	return &ReadError{Path: s.Source, Text: strconv.FormatFloat(v, 'g', 6, 64) + " " + s.Unit, Believed: b.text}
}
