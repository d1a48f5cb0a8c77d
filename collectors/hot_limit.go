package collectors

import (
	"io"
	"math"
	"os"
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
// meant (tempN_crit and tempN_max, Documentation/hwmon/sysfs-interface.rst). NaN where none is
// stated that is believed, and where there is no sensor i.
func (s *Set) HotLimit(i int) float64 {
	sensors := s.Sensors()
	if i < 0 || i >= len(sensors) {
		return math.NaN()
	}
	return hotLimit(sensors[i])
}

func hotLimit(s run.Sensor) float64 {
	of, found := strings.CutSuffix(s.Source, "_input")
	if !found || s.ID != run.Temperature {
		return math.NaN()
	}
	for _, file := range []string{"_crit", "_max"} {
		if celsius := statedCelsius(of + file); celsius >= leastHot && celsius <= mostHot {
			return celsius
		}
	}
	return math.NaN()
}

// statedCelsius reads a file of thousandths, NaN where there is none.
func statedCelsius(path string) float64 {
	f, err := os.Open(path)
	if err != nil {
		return math.NaN()
	}
	defer f.Close()
	text, err := io.ReadAll(io.LimitReader(f, 32))
	thousandths, notNumber := strconv.ParseFloat(strings.TrimSpace(string(text)), 64)
	if err != nil || notNumber != nil {
		return math.NaN()
	}
	return thousandths / 1000
}
