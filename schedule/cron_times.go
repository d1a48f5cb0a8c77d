package schedule

import (
	"fmt"
	"time"

	"github.com/robfig/cron/v3"
)

// ParseSchedule reads when an entry is due: a cron expression of five fields, or of six
// with seconds first, or a descriptor such as "@daily" or "@every 6h".
func ParseSchedule(spec string) (cron.Schedule, error) {
	s, err := parser.Parse(spec)
	if err != nil {
		return nil, fmt.Errorf("%q is neither a cron expression nor like \"@daily\" or \"@every 6h\": %w", spec, err)
	}
	if s.Next(time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)).IsZero() {
		return nil, fmt.Errorf("%q is never due: there is no such date", spec)
	}
	return s, nil
}

// Next is the first time after a moment at which a schedule is due, on the wall
// clock of that moment's location; zero if it never is.
//
// Where clocks are put forward, what is due in the skipped hour is due at the moment
// of the change. Where they are put back, what is due in the repeated hour is due the
// first time only. Schedules with a * for hours or minutes, and those like
// "@every 6h", go by elapsed time and are not affected. cron(8) of Debian 12 does
// the same where the change is below 3 h; the library's own Next leaves out what is due in the skipped
// hour, and gives what is due in the repeated hour twice.
func Next(s cron.Schedule, after time.Time) time.Time {
	spec, ok := s.(*cron.SpecSchedule)
	if !ok || byElapsedTime(s) {
		return s.Next(after)
	}
	loc := after.Location()
	fixed := *spec
	if spec.Location != time.Local { // the expression names one
		loc = spec.Location
		fixed.Location = time.UTC
	}
	for wall := wallClock(after.In(loc)); ; {
		wall = fixed.Next(wall)
		if wall.IsZero() {
			return wall
		}
		if t := whenShown(wall, loc); t.After(after) {
			return t.In(after.Location())
		}
	}
}

// byElapsedTime tells whether a schedule goes by elapsed time: it has a * for hours or
// minutes, or is one like "@every 6h".
func byElapsedTime(s cron.Schedule) bool {
	const star = 1 << 63 // how the library marks a *
	spec, ok := s.(*cron.SpecSchedule)
	return !ok || spec.Hour&star != 0 || spec.Minute&star != 0
}

// wallClock is what a clock on the wall shows at t, written as a time in UTC.
func wallClock(t time.Time) time.Time {
	_, offset := t.Zone()
	return t.Add(time.Duration(offset) * time.Second).UTC()
}

// whenShown is the first moment at which a clock on the wall shows a time, or, where it
// never does, the moment of the change that skips it.
func whenShown(wall time.Time, loc *time.Location) time.Time {
	t := time.Date(wall.Year(), wall.Month(), wall.Day(), wall.Hour(), wall.Minute(), wall.Second(), 0, loc)
	from, to := t.ZoneBounds()
	switch shown := wallClock(t); {
	case shown.After(wall): // the hour was skipped before t
		return from
	case shown.Before(wall): // it is skipped after t
		return to
	}
	if from.IsZero() {
		return t
	}
	_, before := from.Add(-1).Zone()
	if first := wall.Add(-time.Duration(before) * time.Second); first.Before(from) {
		return first.In(loc)
	}
	return t
}
