package frames

import (
	"fmt"
	"strings"
)

// Unit is the unit of the numbers in a file.
type Unit string

const (
	UnitUnknown  Unit = ""
	Seconds      Unit = "s"
	Milliseconds Unit = "ms"
	Microseconds Unit = "us"
	Nanoseconds  Unit = "ns"
	// Rate is frames per second: each number is of one frame, whose time is its
	// reciprocal.
	Rate Unit = "fps"
)

// Units are those that a file may have.
var Units = []Unit{Seconds, Milliseconds, Microseconds, Nanoseconds, Rate}

// Seconds is how many seconds one unit of time has, 0 for Rate.
func (u Unit) Seconds() float64 {
	switch u {
	case Rate:
		return 0
	case Milliseconds:
		return 1e-3
	case Microseconds:
		return 1e-6
	case Nanoseconds:
		return 1e-9
	}
	return 1
}

// ParseUnit reads s, ms, us, µs, ns or fps.
func ParseUnit(text string) (Unit, error) {
	switch u := unitNamed(strings.ToLower(strings.TrimSpace(text))); u {
	case UnitUnknown:
		return u, fmt.Errorf("%q is no unit of frame times: want ms, us, s or, for rates, fps", text)
	default:
		return u, nil
	}
}

func unitNamed(text string) Unit {
	switch text {
	case "s", "sec", "second", "seconds":
		return Seconds
	case "ms", "msec", "millisecond", "milliseconds":
		return Milliseconds
	case "us", "usec", "µs", "μs", "microsecond", "microseconds": // U+00B5 and U+03BC
		return Microseconds
	case "ns", "nsec", "nanosecond", "nanoseconds":
		return Nanoseconds
	case "fps":
		return Rate
	}
	return UnitUnknown
}

// unitOf is the unit that a column's name ends in, apart from the rest of it:
// frame_ms, "time (µs)", "elapsed [s]", "rate (fps)".
func unitOf(name string) Unit {
	words := strings.FieldsFunc(strings.ToLower(name), func(r rune) bool { return strings.ContainsRune(" _-.()[]/", r) })
	if len(words) == 0 {
		return UnitUnknown
	}
	return unitNamed(words[len(words)-1])
}
