package run

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// Keys of the facts that a person may type, since few systems tell them. They are kept with
// a run's other facts and hold for the runs after it too, see testday.
const (
	// RoomTemperature is that of the room, °C.
	RoomTemperature = "room_celsius"
	// DisplayRefresh is how often the display is refreshed, Hz.
	DisplayRefresh = "display_refresh_hertz"
	// WorkloadVersion is the version of what is run, as its maker writes it.
	WorkloadVersion = "workload_version"
)

// Typed are facts that a person typed, by the keys above. An empty value takes back what
// was typed before.
type Typed map[string]string

// Check tells why these are no facts that a person may type.
func (t Typed) Check() error {
	for key, value := range t {
		var err error
		switch key {
		case RoomTemperature, DisplayRefresh:
			if value != "" {
				err = checkTypedNumber(key, value)
			}
		case WorkloadVersion:
			if value != "" {
				err = CheckLabel("workload version", value)
			}
		default:
			err = fmt.Errorf("condition %q cannot be typed: %s, %s and %s can", Shorten(key), RoomTemperature, DisplayRefresh, WorkloadVersion)
		}
		if err != nil {
			return err
		}
	}
	return nil
}

func checkTypedNumber(key, value string) error {
	v, err := ParseNumber(value)
	if err != nil {
		return fmt.Errorf("%s %q is no number", key, Shorten(value))
	}
	low, high := coldestRoom, hottestRoom
	if key == DisplayRefresh {
		low, high = slowestRefresh, fastestRefresh
	}
	if v < low || v > high {
		return fmt.Errorf("%s %s is not from %g to %g", key, value, low, high)
	}
	return nil
}

// Bounds beyond which a slip is more likely than a room or a display (common practice, no
// source).
const (
	coldestRoom, hottestRoom       = -30.0, 60.0 // °C
	slowestRefresh, fastestRefresh = 1.0, 1000.0 // Hz
)

// ParseRoom reads the temperature of a room as people type it, with its unit ("23C",
// "22,5 °C", "73F"), and gives it in °C.
func ParseRoom(text string) (celsius float64, err error) {
	number, unit := splitUnit(text)
	v, err := ParseNumber(strings.Replace(number, ",", ".", 1))
	if err != nil {
		return 0, fmt.Errorf("room temperature %q: give it as 23C, or 73F", Shorten(text))
	}
	fahrenheit := (v - 32) / 1.8
	switch strings.ToLower(strings.TrimLeft(unit, "°º ")) {
	case "c", "celsius":
		celsius = v
		if outsideRoom(celsius) && !outsideRoom(fahrenheit) {
			return 0, fmt.Errorf("room temperature %q: no room has %s °C: is it %sF, which is %.1f °C?", Shorten(text), number, number, fahrenheit)
		}
	case "f", "fahrenheit":
		celsius = fahrenheit
	case "":
		return 0, fmt.Errorf("room temperature %q has no unit: is it %[2]sC or %[2]sF?", Shorten(text), number)
	default:
		return 0, fmt.Errorf("room temperature %q: %q is neither C nor F", Shorten(text), Shorten(unit))
	}
	if outsideRoom(celsius) {
		return 0, fmt.Errorf("room temperature %q: %.1f °C is not from %g to %g", Shorten(text), celsius, coldestRoom, hottestRoom)
	}
	return math.Round(celsius*100) / 100, nil
}

func outsideRoom(celsius float64) bool {
	return math.IsNaN(celsius) || celsius < coldestRoom || celsius > hottestRoom
}

// ParseRefresh reads the refresh rate of a display as people type it ("120", "59.94Hz").
func ParseRefresh(text string) (hertz float64, err error) {
	number, unit := splitUnit(text)
	v, err := ParseNumber(strings.Replace(number, ",", ".", 1))
	if err != nil || unit != "" && !strings.EqualFold(unit, "hz") && !strings.EqualFold(unit, "hertz") {
		return 0, fmt.Errorf("refresh rate %q: give it as 120Hz", Shorten(text))
	}
	if v < slowestRefresh || v > fastestRefresh {
		return 0, fmt.Errorf("refresh rate %q is not from %g to %g Hz", Shorten(text), slowestRefresh, fastestRefresh)
	}
	return v, nil
}

// splitUnit parts a number from the unit behind it, both without blanks around them.
func splitUnit(text string) (number, unit string) {
	text = strings.TrimSpace(text)
	end := strings.IndexFunc(text, func(r rune) bool { return !strings.ContainsRune("0123456789.,+-", r) })
	if end < 0 {
		return text, ""
	}
	return text[:end], strings.TrimSpace(text[end:])
}

// TypedNumber is a number as Typed has it.
func TypedNumber(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }
