package testday

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
	"time"

	"sweepd/judge"
	"sweepd/meter"
	"sweepd/run"
	"sweepd/store"
)

// MeterRequest joins the log of a meter to a run, or takes it out again. The log travels as
// bytes.
type MeterRequest struct {
	ID      string   `json:"id"`
	File    string   `json:"file,omitempty"`     // its name
	Time    string   `json:"time,omitempty"`     // column of the times; "": found by its name
	Watts   string   `json:"watts,omitempty"`    // column of the power; "": found by its name
	OffsetS *float64 `json:"offset_s,omitempty"` // s, to be added to the log's times; nil: found
	Replace bool     `json:"replace,omitempty"`  // the log that was joined before
	Undo    bool     `json:"undo,omitempty"`     // take it out
	Force   bool     `json:"force,omitempty"`    // join it at OffsetS also where it clearly fits elsewhere
}

// MeterAnswer says where the log lies, and the run as it is then.
type MeterAnswer struct {
	Run run.Record `json:"run"`
	// OffsetS was added to the log's times, s: to times of day, or, where the log tells no
	// day, to get the time since the run's start.
	OffsetS float64 `json:"offset_s"`
	Found   bool    `json:"found"` // by correlation, and not given
	// Correlation is that of the log with the run's own power there; nil where the run
	// measured none.
	Correlation *float64 `json:"correlation"`
	// BetterOffsetS is where the log clearly fits, where that is not OffsetS.
	BetterOffsetS *float64 `json:"better_offset_s"`
	// TimeUnit is the unit that the log's times were found to have, where it tells none and
	// they are no seconds: ms, us or min.
	TimeUnit string  `json:"time_unit"`
	Covered  float64 `json:"covered"` // the share of the run that the log covers
	Values   int     `json:"values"`  // in the log
	LeftOut  int     `json:"left_out"`

	better float64 // the correlation at BetterOffsetS
}

// JoinMeter joins the log of a meter to a run.
var JoinMeter = &Operation[MeterRequest, MeterAnswer]{
	About{Method: "POST", Path: "/runs/{id}/meter", Summary: "Joins the log of a power meter to a run.", Needs: NeedsRight, Opens: OpensToWrite, Takes: "text/csv"},
	func(ctx context.Context, d *Day, q MeterRequest) (a MeterAnswer, err error) {
		err = d.Publish(func() (run.Event, error) {
			a, err = Meter(ctx, d.Store, q, d.In, d.Now.Location())
			return run.Event{Kind: run.RunCorrected, Run: a.Run.Run}, err
		})
		return a, err
	},
}

// Errors of a meter's log.
var (
	errJoined    = errors.New("a meter's log is joined to it already: --replace puts this one in its place, --undo takes it out")
	errNotJoined = errors.New("no meter's log is joined to it")
)

// UnfitError is why a file is not taken for what a run gave: frame times, or the log of a
// meter, that are none, are not the run's, or whose place beside it is not clear.
type UnfitError struct {
	Text string `json:"text"`
}

func (e *UnfitError) Error() string { return e.Text }

// Kind is the error's kind, see Kinds.
func (e *UnfitError) Kind() string { return "file_unfit" }

// Metered is what Meter needs of a store.
type Metered interface {
	store.Runs
	store.Readings
	store.Corrector
}

// Meter joins a log to a run, or takes it out again. zone is that of times in the log that
// tell none.
func Meter(ctx context.Context, s Metered, q MeterRequest, log io.Reader, zone *time.Location) (a MeterAnswer, err error) {
	d, err := s.Run(ctx, q.ID)
	if err != nil {
		return a, err
	}
	of := func(err error) error {
		if err == nil {
			return nil
		}
		return fmt.Errorf("run %s: %w", run.ShortID(d.ID), err)
	}
	unfit := func(err error) error { return &UnfitError{of(err).Error()} }
	if d.State == run.Recording {
		return a, of(store.ErrStillRecording)
	}
	t, err := s.Trace(ctx, d.ID)
	if err != nil {
		return a, err
	}
	joined := slices.ContainsFunc(t.Sensors(), func(x run.Sensor) bool { return x.ID == run.ExternalPower })
	switch {
	case len(t.Sensors()) == 0:
		return a, unfit(errors.New("it was not recorded here, so there are no readings that a log could be laid beside"))
	case !q.Undo && d.Supply == run.Battery:
		return a, unfit(errors.New("it ran on battery, where a meter between device and mains sees nothing: its power is that of the battery"))
	case q.Undo && !joined:
		return a, unfit(errNotJoined)
	case q.Undo:
		d.Findings = withoutFinding(d.Findings, run.MeterDisagrees)
		a.Run, err = setReadings(ctx, s, d, t, run.Sensor{ID: run.ExternalPower}, nil)
		return a, of(err)
	case joined && !q.Replace:
		return a, unfit(errJoined)
	}
	x, err := meter.Read(log, meter.Options{File: q.File, Time: q.Time, Watts: q.Watts, Zone: zone, Day: d.StartedAt.Time})
	if err != nil {
		return a, &UnfitError{err.Error()}
	}
	a.Values, a.LeftOut = len(x.At), x.Left
	own, at, err := ownPower(t)
	if err != nil {
		return a, of(err)
	}
	b := besideRun{file: q.File, log: x, own: own, started: d.StartedAt.Time, length: at[len(at)-1], zone: zone}
	if err := a.place(q, &b); err != nil {
		return a, unfit(err)
	}
	sensor := run.Sensor{ID: run.ExternalPower, Unit: "watts", Resolution: 1e-4, Source: a.source(q, x)}
	watts, covered := b.curve().Over(at, a.OffsetS+b.shift())
	a.Covered = covered
	if err := a.plausible(d, watts, x); err != nil {
		return a, unfit(err)
	}
	if a.BetterOffsetS != nil && !q.Force {
		return a, unfit(a.elsewhere())
	}
	d.Findings = append(withoutFinding(d.Findings, run.MeterDisagrees), a.disagrees()...)
	a.Run, err = setReadings(ctx, s, d, t, sensor, watts)
	return a, of(err)
}

func withoutFinding(list []run.Finding, code run.Code) []run.Finding {
	return slices.DeleteFunc(slices.Clone(list), func(f run.Finding) bool { return f.Code == code })
}

// source tells where the readings are from.
func (a *MeterAnswer) source(q MeterRequest, x *meter.Log) string {
	how := "given"
	if a.Found {
		how = fmt.Sprintf("found, correlation %.3f", *a.Correlation)
	}
	if a.TimeUnit != "" {
		how += ", times in " + a.TimeUnit
	}
	return run.Shorten(fmt.Sprintf("%s, %s", q.File, x.From)) + fmt.Sprintf(", offset %+.3f s (%s)", a.OffsetS, how)
}

// What a log has to cover of a run, and to show of the package's power at least, to be that of
// the device (common practice, no source).
const (
	leastCovered = 0.9
	leastOfOwn   = 0.8
)

// plausible refuses a log that cannot be that of the run.
func (a *MeterAnswer) plausible(d run.Record, watts []float64, x *meter.Log) error {
	if a.Covered == 0 {
		return fmt.Errorf("with an offset of %+.1f s no value of the log lies in the run%s", a.OffsetS, a.fitsElsewhere())
	}
	if a.Covered < leastCovered {
		return fmt.Errorf("the log covers only %.0f %% of the run (at least %.0f %% are needed)%s: it has to begin before the run and to end after it", 100*a.Covered, 100*leastCovered, a.fitsElsewhere())
	}
	sum, n := 0.0, 0
	for _, w := range watts {
		if !math.IsNaN(w) {
			sum, n = sum+w, n+1
		}
	}
	mean := sum / float64(n)
	if p := d.PackageW; p != nil && mean < leastOfOwn**p {
		return fmt.Errorf("the log shows %.3g W where the package alone drew %.1f W: is %s the right column, in the right unit?%s", mean, *p, x.From, strings.Replace(a.fitsElsewhere(), "; its", " Its", 1))
	}
	return nil
}

// ownPower is what the run measured of itself: the package's power, or else the discharge.
// at are the times of its sweeps, s since the first.
func ownPower(t run.Trace) (own meter.Curve, at []float64, err error) {
	index := judge.NewSensorIndex(t.Sensors())
	var counted, joules, powered, watts, gauged, out []float64
	var first time.Duration
	err = t.Each(func(s run.Sweep) error {
		if len(at) == 0 {
			first = s.At.Mono
		}
		now := (s.At.Mono - first).Seconds()
		at = append(at, now)
		if e := judge.Sum(s.Values, index.PackageEnergy); !math.IsNaN(e) {
			counted, joules = append(counted, now), append(joules, e)
		}
		if p := judge.Sum(s.Values, index.PackagePower); !math.IsNaN(p) {
			powered, watts = append(powered, now), append(watts, p)
		}
		if p := index.Discharge(s.Values); !math.IsNaN(p) {
			gauged, out = append(gauged, now), append(out, p)
		}
		return nil
	})
	switch {
	case err != nil:
		return own, nil, err
	case len(at) < 2:
		return own, nil, errors.New("it has fewer than two sweeps")
	case len(counted) > 1:
		return meter.FromEnergy(counted, joules), at, nil
	case len(powered) > 1:
		return meter.FromPower(powered, watts), at, nil
	}
	return meter.FromPower(gauged, out), at, nil
}

// setReadings stores the readings, and what the run is with them.
func setReadings(ctx context.Context, s Metered, d run.Record, t run.Trace, sensor run.Sensor, watts []float64) (run.Record, error) {
	with := d
	with.SystemWSource = ""
	if d.WholeS != nil {
		with.DurationS = d.WholeS
	}
	all := &metered{t, sensor, watts}
	judged, err := judge.Judge(with, all, judge.Thresholds{})
	if err != nil {
		return d, err
	}
	if d.LoadEndS != nil {
		load, err := judge.Until(with, all, *d.LoadEndS, judge.Thresholds{})
		if err != nil {
			return d, err
		}
		judge.SetLoadMeans(judged.Summaries, load.Summaries)
	}
	if d.WholeS != nil || d.HasFinding(run.IdleTail) { // up to where it counts, as its user said
		part, err := judge.Until(with, all, *d.DurationS, judge.Thresholds{})
		if err != nil {
			return d, err
		}
		part.Findings = d.Findings
		part.LimitSystemPower()
		judged.SystemW, judged.SystemWSource = part.SystemW, part.SystemWSource
	}
	d.Summaries, d.SystemW, d.SystemWSource = judged.Summaries, judged.SystemW, judged.SystemWSource
	if err := s.SetReadings(ctx, d, sensor, watts); err != nil {
		return d, err
	}
	d, err = s.Run(ctx, d.ID)
	return complete(d), err
}

// metered is a trace with the readings of the meter in the place of those it had; without
// where there are none.
type metered struct {
	run.Trace
	sensor run.Sensor
	watts  []float64
}

func (m *metered) Sensors() []run.Sensor {
	list := slices.DeleteFunc(slices.Clone(m.Trace.Sensors()), func(x run.Sensor) bool { return x.ID == m.sensor.ID })
	if m.watts != nil {
		list = append(list, m.sensor)
	}
	return list
}

func (m *metered) Each(f func(run.Sweep) error) error {
	sensors := m.Trace.Sensors()
	width := len(m.Sensors())
	values := make([]float64, 0, len(sensors)+1)
	n := 0
	return m.Trace.Each(func(s run.Sweep) error {
		values = values[:0]
		for i, v := range s.Values {
			if sensors[i].ID != m.sensor.ID {
				values = append(values, v)
			}
		}
		if n < len(m.watts) {
			for len(values) < width-1 {
				values = append(values, math.NaN())
			}
			values = append(values, m.watts[n])
		}
		n++
		s.Values = values
		return f(s)
	})
}
