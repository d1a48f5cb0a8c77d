package collectors

import (
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"sweepd/run"
)

// Bounds of what is believed of a limit that a driver states, °C: some state 0, and some
// drives 65261.85 (the 0xFFFF of a drive that states none).
const (
	leastHot = 40
	mostHot  = 150
)

// HotLimit is the temperature at which the maker takes what the sensor at position i measures
// to be too hot, °C, as its driver states it: the critical one, else the highest one that is
// meant (tempN_crit and tempN_max, Documentation/hwmon/sysfs-interface.rst). That of a thermal
// zone is its lowest critical trip point (Documentation/driver-api/thermal/sysfs-api.rst). NaN
// where none is stated that is believed, and where there is no sensor i.
func (s *Set) HotLimit(i int) float64 {
	sensors := s.Sensors()
	if i < 0 || i >= len(sensors) {
		return math.NaN()
	}
	return hotLimit(sensors[i])
}

func hotLimit(s run.Sensor) float64 {
	of, found := strings.CutSuffix(s.Source, "_input")
	switch zone := filepath.Dir(s.Source); {
	case s.ID != run.Temperature:
		return math.NaN()
	case strings.HasPrefix(filepath.Base(zone), "thermal_zone"):
		return criticalTrip(zone)
	case !found:
		return math.NaN()
	}
	for _, file := range []string{"_crit", "_max"} {
		if celsius := statedCelsius(of + file); celsius >= leastHot && celsius <= mostHot {
			return celsius
		}
	}
	return math.NaN()
}

// criticalTrip is the lowest critical trip point of a thermal zone that is believed, NaN
// where it has none. Trip points are numbered from 0 on.
func criticalTrip(zone string) float64 {
	lowest := math.NaN()
	for i := range mostTrips {
		point := filepath.Join(zone, fmt.Sprintf("trip_point_%d", i))
		kind, ok := stated(point + "_type")
		if !ok {
			return lowest
		}
		celsius := statedCelsius(point + "_temp")
		if kind == "critical" && celsius >= leastHot && celsius <= mostHot && !(celsius >= lowest) {
			lowest = celsius
		}
	}
	return lowest
}

// mostTrips bounds the trip points that are looked at; the kernel allowed 12 for long
// (THERMAL_MAX_TRIPS, from memory).
const mostTrips = 64

// statedCelsius reads a file of thousandths, NaN where there is none.
func statedCelsius(path string) float64 {
	text, ok := stated(path)
	thousandths, err := strconv.ParseFloat(text, 64)
	if !ok || err != nil {
		return math.NaN()
	}
	return thousandths / 1000
}

// stated is the text of a small file.
func stated(path string) (string, bool) {
	f, err := os.Open(path)
	if err != nil {
		return "", false
	}
	defer f.Close()
	text, err := io.ReadAll(io.LimitReader(f, 32))
	return strings.TrimSpace(string(text)), err == nil
}
