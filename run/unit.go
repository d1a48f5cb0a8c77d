package run

import "strings"

// unitKinds are the units that are understood, by what they measure: each with how many
// of the first it has (SI Brochure, 9th edition, tables 7 and 8; binary prefixes:
// IEC 80000-13). All others are kept as they are typed.
var unitKinds = []map[string]float64{
	{"s": 1, "sec": 1, "second": 1, "seconds": 1, "ms": 1e-3, "msec": 1e-3, "milliseconds": 1e-3, "us": 1e-6, "µs": 1e-6, "μs": 1e-6, "ns": 1e-9,
		"min": 60, "mins": 60, "minute": 60, "minutes": 60, "h": 3600, "hour": 3600, "hours": 3600},
	{"W": 1, "w": 1, "watt": 1, "watts": 1, "Watt": 1, "Watts": 1, "mW": 1e-3, "kW": 1e3},
	{"J": 1, "mJ": 1e-3, "kJ": 1e3, "MJ": 1e6, "Wh": 3600, "mWh": 3.6, "kWh": 3.6e6},
	{"fps": 1, "FPS": 1, "frames/s": 1},
	{"Hz": 1, "kHz": 1e3, "MHz": 1e6, "GHz": 1e9},
	{"B": 1, "kB": 1e3, "MB": 1e6, "GB": 1e9, "KiB": 1 << 10, "MiB": 1 << 20, "GiB": 1 << 30},
	{"B/s": 1, "kB/s": 1e3, "MB/s": 1e6, "GB/s": 1e9, "KiB/s": 1 << 10, "MiB/s": 1 << 20, "GiB/s": 1 << 30},
	{"°C": 1, "C": 1},
	{"K": 1},
	{"%": 1},
	{"rpm": 1},
	{"points": 1, "pts": 1},
	{"1/s": 1, "/s": 1},
	{"V": 1, "mV": 1e-3},
	{"A": 1, "mA": 1e-3},
}

// KnownUnit tells whether a text is a unit that is understood.
func KnownUnit(text string) bool {
	for _, kind := range unitKinds {
		if kind[text] != 0 {
			return true
		}
	}
	return false
}

// UnitFactor is how many of the one unit one of the other has: 1000 of "s" in "ms". It
// is false where they do not measure the same, or one is not understood.
func UnitFactor(from, to string) (float64, bool) {
	for _, kind := range unitKinds {
		if a, b := kind[from], kind[to]; a != 0 && b != 0 {
			return a / b, true
		}
	}
	return 0, false
}

// neverNegative tells whether a unit is that of a rate or of a duration.
func neverNegative(unit string) bool {
	for _, suffix := range []string{"/s", "/min", "/h"} {
		if strings.HasSuffix(unit, suffix) {
			return true
		}
	}
	for _, of := range []string{"s", "fps", "Hz", "rpm"} {
		if _, same := UnitFactor(unit, of); same {
			return true
		}
	}
	return false
}

// CutUnit takes the unit off the end of a heading, where it stands in brackets: "fps_mean
// (fps)", "time [ms]". What is in the brackets may be no unit.
func CutUnit(heading string) (name, unit string, found bool) {
	for _, brackets := range []string{"()", "[]"} {
		at := strings.LastIndexByte(heading, brackets[0])
		if at > 0 && strings.HasSuffix(heading, brackets[1:]) {
			return strings.TrimSpace(heading[:at]), strings.TrimSpace(heading[at+1 : len(heading)-1]), true
		}
	}
	return heading, "", false
}
