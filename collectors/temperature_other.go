package collectors

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"github.com/shirou/gopsutil/v3/host"

	"sweepd/run"
)

// otherTemperatures reads what gopsutil knows of temperatures, for systems other
// than Linux: there the kernel's own files say more and cost a hundredth.
type otherTemperatures struct {
	list func(context.Context) ([]host.TemperatureStat, error)
	now  func() time.Time

	keys    []string
	err     error
	scanned time.Time
}

// NewOtherTemperatures reads temperatures through gopsutil. Do not use it on
// Linux, where NewHwmon and NewThermal read the same sensors.
func NewOtherTemperatures() Collector {
	return &otherTemperatures{list: host.SensorsTemperaturesWithContext, now: time.Now}
}

func (*otherTemperatures) Name() string { return "temperature" }

const (
	// temperatureRelist spares the costly call: sensors come and go rarely.
	temperatureRelist   = time.Minute
	temperatureInterval = 5 * time.Second
	temperatureTimeout  = 10 * time.Second
	temperatureSource   = "host.SensorsTemperatures"
)

func (t *otherTemperatures) Scan() ([]Offer, []Absence) {
	if now := t.now(); t.scanned.IsZero() || now.Sub(t.scanned) >= temperatureRelist {
		t.scanned = now
		stats, err := t.listed()
		t.keys, t.err = temperatureKeys(stats), err
	}
	if len(t.keys) == 0 {
		why := "no such driver"
		if t.err != nil {
			why = t.err.Error()
		}
		return nil, []Absence{{Collector: t.Name(), Source: temperatureSource, Why: why}}
	}
	sensors := make([]run.Sensor, len(t.keys))
	for i, key := range t.keys {
		sensors[i] = run.Sensor{ID: run.Temperature, Instance: key, Unit: "celsius", Kind: run.Gauge,
			Source: temperatureSource, Resolution: 0.1}
	}
	keys := slices.Clone(t.keys)
	return []Offer{{Sensors: sensors, MinInterval: temperatureInterval, Open: func() (Probe, error) {
		return &temperatureCall{from: t, keys: keys}, nil
	}}}, nil
}

func (t *otherTemperatures) listed() ([]host.TemperatureStat, error) {
	ctx, cancel := context.WithTimeout(context.Background(), temperatureTimeout)
	defer cancel()
	return t.list(ctx)
}

// temperatureKeys lists the sensors' names, sorted and each once.
func temperatureKeys(stats []host.TemperatureStat) []string {
	var keys []string
	for _, s := range stats {
		if key := strings.TrimSpace(s.SensorKey); key != "" {
			keys = append(keys, key)
		}
	}
	slices.Sort(keys)
	return slices.Compact(keys)
}

// temperatureCall reads all temperatures with one call.
type temperatureCall struct {
	from   *otherTemperatures
	keys   []string
	repeat repeatedError
}

func (p *temperatureCall) Read(_ time.Duration, dst []float64) error {
	setMissing(dst)
	stats, err := p.from.listed()
	for _, s := range stats { // the library gives what it could read beside an error
		i, found := slices.BinarySearch(p.keys, strings.TrimSpace(s.SensorKey))
		if found && math.IsNaN(dst[i]) && believable(s.Temperature) {
			dst[i] = s.Temperature
		}
	}
	for i, v := range dst[:len(p.keys)] {
		if math.IsNaN(v) {
			if err == nil {
				err = fmt.Errorf("%s: no value from -60 to 200 °C for %q", temperatureSource, p.keys[i])
			}
			return p.repeat.of(err)
		}
	}
	return nil
}

func (*temperatureCall) Close() error { return nil }

// believable tells whether a temperature in °C can be one: the limits are those
// of temperatureLimits, and 0 is what the library gives for a sensor that it
// could not read.
func believable(celsius float64) bool { return celsius >= -60 && celsius <= 200 && celsius != 0 }
