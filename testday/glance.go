package testday

import (
	"cmp"
	"math"
	"slices"
	"time"

	"sweepd/judge"
	"sweepd/run"
)

// Glance is what somebody looks at who stands beside the device: how it is set and fed, and
// what it draws, at one sweep. Unknown numbers are nil.
type Glance struct {
	Device      string              `json:"device"`
	Now         run.Timestamp       `json:"now"` // by the agent's clock
	At          run.Timestamp       `json:"at"`  // of the sweep
	Setting     run.SourcedSetting  `json:"setting"`
	SettingRead *run.SourcedSetting `json:"setting_read"`
	Supply      run.Supply          `json:"supply"`

	Charge       Aged              `json:"charge_ratio"`
	Discharge    Aged              `json:"discharge_watts"` // negative while charging
	Package      Aged              `json:"package_watts"`
	Temperatures []AgedTemperature `json:"temperatures"` // the hottest first

	// TooHot are those at the limit that the maker states, or else at that of the
	// configuration (thresholds.temperature_limit), all of them.
	TooHot []AgedTemperature `json:"too_hot"`

	Recording *Underway `json:"recording"` // nil between runs
	Unstored  int       `json:"unstored"`  // runs that ended and could not be stored so far
	Missing   []string  `json:"missing"`   // sensors that have no value now, as a person reads them
}

// Aged is a value and how old it was at Glance.Now, s.
type Aged struct {
	Value *float64 `json:"value"`
	AgeS  float64  `json:"age_s"`
}

// AgedTemperature is one of the device's, °C.
type AgedTemperature struct {
	Name string `json:"name"`
	Aged
}

// Underway is the run that is recording.
type Underway struct {
	ID        string             `json:"id"`
	Workload  string             `json:"workload"`
	Setting   run.SourcedSetting `json:"setting"`
	Supply    run.Supply         `json:"supply"`
	Variant   run.Variant        `json:"variant"`
	StartedAt run.Timestamp      `json:"started_at"`
	ElapsedS  float64            `json:"elapsed_s"`
	StopsInS  *float64           `json:"stops_in_s"` // nil: it is stopped by hand
}

// mostTemperatures are shown in a glance, the hottest ones.
const mostTemperatures = 4

// Glancer makes glances of one agent after the other. The zero value works; it is for one
// goroutine.
type Glancer struct {
	// Limit is where what states none is too hot, °C; 0: nowhere.
	Limit float64

	index judge.SensorIndex
	hot   map[int]float64 // the limits of sensors, °C, as far as they were asked for
	meter packageMeter
}

// HotLimit is the limit of a Glancer that thresholds mean, °C.
func HotLimit(t Thresholds) float64 {
	return cmp.Or(t.TemperatureLimit, judge.DefaultTemperatureLimit)
}

// limit is where the sensor at a position is too hot. What a driver states is fixed.
func (g *Glancer) limit(m Machine, i int) float64 {
	c, known := g.hot[i]
	if !known {
		if c = m.HotLimit(i); math.IsNaN(c) && g.Limit > 0 {
			c = g.Limit // of NaN nothing is hotter
		}
		if g.hot == nil {
			g.hot = map[int]float64{}
		}
		g.hot[i] = c
	}
	return c
}

// Look is the glance at an agent. m tells how old values are, timer when its run is stopped.
func (g *Glancer) Look(l run.Live, m Machine, timer *StopTimer) Glance {
	if len(g.index.Sensors) != len(l.Sensors) {
		g.index, g.hot = judge.NewSensorIndex(l.Sensors), nil
	}
	at := Glance{
		Device: l.Current.Device, Now: run.Stamp(l.Now.Wall), Setting: l.Current.Setting, SettingRead: l.SettingRead, Supply: l.Current.Supply,
		Temperatures: []AgedTemperature{}, TooHot: []AgedTemperature{}, Missing: []string{}, Unstored: len(l.Unstored),
	}
	if l.Sweeps == 0 {
		return at
	}
	at.At = run.Stamp(l.At.Wall)
	sweep := max(0, l.Now.Mono-l.At.Mono)
	aged := func(v float64, positions ...int) Aged {
		age := sweep
		for _, i := range positions {
			age = max(age, sweep+m.Lag(i))
		}
		return Aged{finite(v), math.Round(age.Seconds()*10) / 10}
	}
	var charge, power []int
	for _, b := range g.index.Batteries {
		charge, power = append(charge, b.Charge), append(power, b.Power)
	}
	at.Charge, at.Discharge = aged(l.ChargeRatio, charge...), aged(l.DischargeWatts, power...)
	at.Package = aged(g.meter.watts(&g.index, l.Values, l.At.Mono), append(slices.Clone(g.index.PackagePower), g.index.PackageEnergy...)...)
	for i, s := range l.Sensors {
		v := judge.At(l.Values, i)
		switch {
		case math.IsNaN(v):
			at.Missing = append(at.Missing, s.String())
		case s.ID == run.Temperature:
			t := AgedTemperature{cmp.Or(s.Instance, "device"), aged(v, i)}
			at.Temperatures = append(at.Temperatures, t)
			if v >= g.limit(m, i) {
				at.TooHot = append(at.TooHot, t)
			}
		}
	}
	slices.SortStableFunc(at.Temperatures, func(a, b AgedTemperature) int { return cmp.Compare(*b.Value, *a.Value) })
	at.Temperatures = at.Temperatures[:min(len(at.Temperatures), mostTemperatures)]
	at.Recording = underway(l, timer)
	return at
}

func underway(l run.Live, timer *StopTimer) *Underway {
	r := l.Recording
	if r == nil {
		return nil
	}
	return &Underway{
		ID: r.ID, Workload: r.Workload, Setting: r.Setting, Supply: r.Supply, Variant: r.Variant, StartedAt: r.StartedAt,
		ElapsedS: math.Max(0, l.Now.Wall.Sub(r.StartedAt.Time).Seconds()), StopsInS: timer.left(r.ID, time.Now()),
	}
}

// packageMeter tells what the package draws: by its power sensors, else by the rise of its
// energy counters since the sweep before.
type packageMeter struct {
	joules, drawn float64
	at            time.Duration
	begun         bool
}

// watts is the package's power at a sweep, W; NaN where it is unknown.
func (p *packageMeter) watts(index *judge.SensorIndex, values []float64, at time.Duration) float64 {
	if w := judge.Sum(values, index.PackagePower); !math.IsNaN(w) {
		return w
	}
	if p.begun && at == p.at {
		return p.drawn
	}
	joules := judge.Sum(values, index.PackageEnergy)
	p.drawn = math.NaN()
	if rise := joules - p.joules; p.begun && rise >= 0 && at > p.at { // after a restart of the machine it is earlier
		p.drawn = rise / (at - p.at).Seconds()
	}
	p.joules, p.at, p.begun = joules, at, true
	return p.drawn
}
