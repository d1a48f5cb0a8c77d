package main

import (
	"math"
	"strconv"

	"sweepd/report/sentence"
	"sweepd/run"
)

// joulesPerWh and secondsPerMinute turn the units of the SI into those that people
// think in: battery content in Wh, fans in revolutions per minute.
const (
	joulesPerWh      = 3600
	secondsPerMinute = 60
)

// siText is a reading with its unit.
func siText(v float64, unit string) string {
	if unit == "" && v == math.Trunc(v) && math.Abs(v) < 1e15 { // a count or a code
		return strconv.FormatFloat(v, 'f', 0, 64)
	}
	return sentence.WithUnit(v, unit)
}

// customaryText is a reading as people say it: a code's word, Wh, revolutions per
// minute; empty where the unit of the SI is what people use.
func customaryText(sensor string, v float64) string {
	switch sensor {
	case run.BatteryEnergy, run.BatteryEnergyFull, run.BatteryEnergyDesign:
		return sentence.Significant(v/joulesPerWh) + " Wh"
	case run.FanSpeed:
		return sentence.Fixed(v*secondsPerMinute, 0) + " rpm"
	}
	return codeWord(sensor, v)
}

// codeWord is what a sensor's code stands for, empty where it is none.
func codeWord(sensor string, v float64) string {
	switch sensor {
	case run.BatteryDirection:
		return map[float64]string{1: "discharging", -1: "charging", 0: "at rest"}[v]
	case run.SupplyOnline:
		return map[float64]string{1: "online", 0: "offline"}[v]
	case run.PlatformProfile:
		return wordAt(run.PlatformProfiles, v)
	case run.SupplyUSBType:
		return wordAt(run.USBTypes, v)
	}
	return ""
}

func wordAt(words []string, v float64) string {
	if i := int(v); float64(i) == v && i >= 0 && i < len(words) {
		return words[i]
	}
	return ""
}

// readingText is a reading with its unit and, in brackets, as people say it.
func readingText(sensor, unit string, v float64) string {
	if said := customaryText(sensor, v); said != "" {
		return siText(v, unit) + " (" + said + ")"
	}
	return siText(v, unit)
}

// shortReading is a reading in the way that people use, for a narrow column.
func shortReading(sensor, unit string, v *float64) string {
	if v == nil {
		return sentence.Dash
	}
	if said := customaryText(sensor, *v); said != "" {
		return said
	}
	return siText(*v, unit)
}
