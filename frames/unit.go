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
)

// Seconds is how many seconds one unit has.
func (u Unit) Seconds() float64 {
	switch u {
	case Milliseconds:
		return 1e-3
	case Microseconds:
		return 1e-6
	case Nanoseconds:
		return 1e-9
	}
	return 1
}

// ParseUnit reads s, ms, us, µs or ns.
func ParseUnit(text string) (Unit, error) {
	switch u := unitNamed(strings.ToLower(strings.TrimSpace(text))); u {
	case UnitUnknown:
		return u, fmt.Errorf("%q is no unit of frame times: want ms, us or s", text)
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
	}
	return UnitUnknown
}

// unitOf is the unit that a column's name ends in, apart from the rest of it:
// frame_ms, "time (µs)", "elapsed [s]".
func unitOf(name string) Unit {
	words := strings.FieldsFunc(strings.ToLower(name), func(r rune) bool { return strings.ContainsRune(" _-.()[]/", r) })
	if len(words) == 0 {
		return UnitUnknown
	}
	return unitNamed(words[len(words)-1])
}
