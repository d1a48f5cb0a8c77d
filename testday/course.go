package testday

import (
	"cmp"
	"context"
	"errors"
	"math"
	"slices"
	"time"

	"sweepd/analysis"
	"sweepd/judge"
	"sweepd/run"
	"sweepd/store"
)

// CourseRequest asks for the course of the last minutes.
type CourseRequest struct {
	Minutes int `json:"minutes"` // 1 to 60; 0: 5
}

// Course is how what the device draws went in the last minutes, oldest first.
type Course struct {
	From   run.Timestamp `json:"from"`
	To     run.Timestamp `json:"to"`
	Points []CoursePoint `json:"points"`
}

// CoursePoint is the mean of a short while, and of the temperatures the hottest.
type CoursePoint struct {
	At        run.Timestamp   `json:"at"`
	Discharge analysis.Number `json:"discharge_watts"` // negative while charging
	Package   analysis.Number `json:"package_watts"`
	Celsius   analysis.Number `json:"celsius"`
}

const (
	usualCourse = 5  // minutes
	mostCourse  = 60 // minutes
	// coursePoints are at most so many; a small display has no more columns.
	coursePoints = 300
)

// RecentCourse gives the course of the last minutes.
var RecentCourse = &Operation[CourseRequest, Course]{
	About{Method: "GET", Path: "/course", Summary: "Gives the course of the last minutes: what the device drew, and its hottest temperature."},
	func(ctx context.Context, d *Day, q CourseRequest) (Course, error) {
		if q.Minutes < 0 || q.Minutes > mostCourse {
			return Course{}, requestError(errors.New("minutes are from 1 to 60"))
		}
		device, err := d.Device()
		if err != nil {
			return Course{}, err
		}
		return courseOf(ctx, d.Store, device, time.Duration(cmp.Or(q.Minutes, usualCourse))*time.Minute, d.Now)
	},
}

// courseOf reads the idle sweeps of a device and those of its runs.
func courseOf(ctx context.Context, s Traces, device string, last time.Duration, now time.Time) (Course, error) {
	c := newCourseMaker(now.Add(-last), now)
	idle, err := s.IdleSweeps(ctx, device, c.from)
	if err != nil {
		return Course{}, err
	}
	if err := c.add(idle); err != nil {
		return Course{}, err
	}
	// A run may have begun long before and still be recording.
	runs, err := s.Runs(ctx, store.Filter{Device: device, Limit: recentRuns})
	if err != nil {
		return Course{}, err
	}
	for _, r := range runs {
		if r.State != run.Recording && endOf(&r).Before(c.from) {
			continue
		}
		trace, err := s.Trace(ctx, r.ID)
		if err != nil {
			return Course{}, err
		}
		if err := c.add(trace); err != nil {
			return Course{}, err
		}
	}
	return c.course(), nil
}

// recentRuns are looked through for those of the last minutes; they last a few seconds at least.
const recentRuns = 60

// courseMaker gathers sweeps into short whiles of the same length.
type courseMaker struct {
	from, to time.Time
	step     time.Duration
	whiles   map[int]*while
}

// while holds sums and counts, and the hottest temperature.
type while struct {
	discharge, pack   float64
	nDischarge, nPack int
	celsius           float64
}

func newCourseMaker(from, to time.Time) *courseMaker {
	return &courseMaker{from, to, to.Sub(from) / coursePoints, map[int]*while{}}
}

func (c *courseMaker) add(t run.Trace) error {
	index := judge.NewSensorIndex(t.Sensors())
	var meter packageMeter
	return t.Each(func(s run.Sweep) error {
		drawn := meter.watts(&index, s.Values, s.At.Mono)
		if s.At.Wall.Before(c.from) || s.At.Wall.After(c.to) {
			return nil
		}
		at := int(s.At.Wall.Sub(c.from) / c.step)
		w := c.whiles[at]
		if w == nil {
			w = &while{celsius: math.NaN()}
			c.whiles[at] = w
		}
		if v := index.Discharge(s.Values); !math.IsNaN(v) {
			w.discharge, w.nDischarge = w.discharge+v, w.nDischarge+1
		}
		if !math.IsNaN(drawn) {
			w.pack, w.nPack = w.pack+drawn, w.nPack+1
		}
		for i, sensor := range index.Sensors {
			if v := judge.At(s.Values, i); sensor.ID == run.Temperature && !(v <= w.celsius) && !math.IsNaN(v) {
				w.celsius = v
			}
		}
		return nil
	})
}

func (c *courseMaker) course() Course {
	out := Course{From: run.Stamp(c.from), To: run.Stamp(c.to), Points: make([]CoursePoint, 0, len(c.whiles))}
	for at, w := range c.whiles {
		out.Points = append(out.Points, CoursePoint{
			At:        run.Stamp(c.from.Add(time.Duration(at)*c.step + c.step/2)),
			Discharge: analysis.Number(w.discharge / float64(w.nDischarge)), // 0/0 is unknown
			Package:   analysis.Number(w.pack / float64(w.nPack)), Celsius: analysis.Number(w.celsius),
		})
	}
	slices.SortFunc(out.Points, func(a, b CoursePoint) int { return a.At.Compare(b.At.Time) })
	return out
}
