package testday

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
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
	Covered     float64  `json:"covered"` // the share of the run that the log covers
	Values      int      `json:"values"`  // in the log
	LeftOut     int      `json:"left_out"`
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
	if err := a.place(q, x, own, d, at); err != nil {
		return a, unfit(err)
	}
	sensor := run.Sensor{ID: run.ExternalPower, Unit: "watts", Resolution: 1e-4, Source: a.source(q, x)}
	watts, covered := meter.FromPower(x.At, x.Watts).Over(at, a.OffsetS+shift(x, d))
	a.Covered = covered
	if err := a.plausible(d, watts, x); err != nil {
		return a, unfit(err)
	}
	a.Run, err = setReadings(ctx, s, d, t, sensor, watts)
	return a, of(err)
}

// shift is what turns times of a log that tells the day into times since the run's start, s.
func shift(x *meter.Log, d run.Record) float64 {
	if x.Start.IsZero() {
		return 0
	}
	return x.Start.Sub(d.StartedAt.Time).Seconds()
}

// clocksOff are how far a meter's clock may be off, s, without somebody saying so: by little,
// or, where no place near by fits, by more. A log of a day has other runs like this one.
var clocksOff = []float64{60, 15 * 60}

// place finds where the log lies, or takes what is said.
func (a *MeterAnswer) place(q MeterRequest, x *meter.Log, own meter.Curve, d run.Record, at []float64) error {
	log := meter.FromPower(x.At, x.Watts)
	first := shift(x, d)
	if q.OffsetS != nil {
		a.OffsetS = *q.OffsetS
		a.Correlation = finite(meter.Correlation(log, own, a.OffsetS+first))
		return nil
	}
	var p meter.Alignment
	var ok bool
	if x.Start.IsZero() {
		p, ok = meter.Align(log, own, math.Inf(-1), math.Inf(1))
	} else {
		begin, end, length := x.At[0]+first, x.At[len(x.At)-1]+first, at[len(at)-1]
		if min(end, length)-max(begin, 0) < length/2 {
			return fmt.Errorf("%s was logged from %s to %s, the run was recorded from %s to %s: is it the right file, and the right run? If the meter's clock is wrong, say by how much: --offset %+.0fs",
				q.File, clockTime(d, begin), clockTime(d, end), clockTime(d, 0), clockTime(d, length), -begin)
		}
		for _, off := range clocksOff {
			if p, ok = meter.Align(log, own, first-off, first+off); p.Clear {
				break
			}
		}
	}
	const how = "give the offset by hand, what is to be added to the log's times: --offset 3.2s (--offset 0s where the meter's clock is right, or the log began with the run)"
	switch {
	case !ok:
		return fmt.Errorf("nothing tells where the log of %s lies: the run measured no power that moves, is too short, or lies outside the log; %s", q.File, how)
	case !p.Clear && p.Correlation < 0.7:
		return fmt.Errorf("no place of the log of %s fits to the run: its power agrees best, with a correlation of %.2f, at an offset of %+.1f s; is it the right file, and the right run? Else %s",
			q.File, p.Correlation, p.Offset-first, how)
	case !p.Clear:
		return fmt.Errorf("several places of the log of %s fit to the run: one with a correlation of %.2f, at an offset of %+.1f s, another with %.2f; %s", q.File, p.Correlation, p.Offset-first, p.Rival, how)
	}
	a.OffsetS, a.Found, a.Correlation = math.Round((p.Offset-first)*1000)/1000, true, &p.Correlation
	return nil
}

func clockTime(d run.Record, seconds float64) string {
	return d.StartedAt.Add(time.Duration(seconds * float64(time.Second))).UTC().Format("2006-01-02 15:04:05 UTC")
}

// source tells where the readings are from.
func (a *MeterAnswer) source(q MeterRequest, x *meter.Log) string {
	how := "given"
	if a.Found {
		how = fmt.Sprintf("found, correlation %.3f", *a.Correlation)
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
		return fmt.Errorf("with an offset of %+.1f s no value of the log lies in the run", a.OffsetS)
	}
	if a.Covered < leastCovered {
		return fmt.Errorf("the log covers only %.0f %% of the run (at least %.0f %% are needed)", 100*a.Covered, 100*leastCovered)
	}
	sum, n := 0.0, 0
	for _, w := range watts {
		if !math.IsNaN(w) {
			sum, n = sum+w, n+1
		}
	}
	mean := sum / float64(n)
	if p := d.PackageW; p != nil && mean < leastOfOwn**p {
		return fmt.Errorf("the log shows %.3g W where the package alone drew %.1f W: is %s the right column, in the right unit?", mean, *p, x.From)
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
