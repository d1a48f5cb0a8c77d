package meter

import (
	"errors"
	"fmt"
	"regexp"
	"strconv"
	"strings"
	"time"
)

// clock reads the times of a log, all in the form that the first one has.
type clock struct {
	form  func(text string, t *table) (time.Time, error) // nil: numbers, since an unknown moment
	start time.Time                                      // the first time; zero where that is unknown
	begun bool
	epoch float64 // s for each unit of Unix times; 0: the numbers are none
}

// layouts are the forms of date and time that are told by themselves. A date of 03/04/2026
// is not: it may be in March or in April.
var layouts = []string{
	time.RFC3339Nano, "2006-01-02T15:04:05", "2006-01-02 15:04:05Z07:00", "2006-01-02 15:04:05 -0700", "2006-01-02 15:04:05",
	"2006/01/02 15:04:05", "02.01.2006 15:04:05", "02.01.2006, 15:04:05",
}

var (
	timeOfDay  = regexp.MustCompile(`^\d{1,2}:\d{2}:\d{2}(\.\d+)?$`)
	secondsTo  = regexp.MustCompile(`(\d{2}:\d{2}:\d{2}),(\d+)`)
	slashDates = regexp.MustCompile(`^\d{1,2}/\d{1,2}/\d{4}`)
)

var errTime = errors.New("it is no time: give RFC 3339 (2026-05-04T09:30:00.5Z), 2026-05-04 09:30:00, 04.05.2026 09:30:00, a time of day, or seconds")

// read gives a time in seconds since the first one, or as a number in a log of numbers.
func (c *clock) read(text string, t *table) (float64, error) {
	text = secondsTo.ReplaceAllString(text, "$1.$2")
	if !c.begun {
		if err := c.begin(text, t); err != nil {
			return 0, err
		}
	}
	if c.form == nil {
		return c.number(text, t)
	}
	at, err := c.form(text, t)
	if err != nil {
		return 0, errTime
	}
	if !c.begun {
		c.begun, c.start = true, at
	}
	return at.Sub(c.start).Seconds(), nil
}

func (c *clock) begin(text string, t *table) error {
	if slashDates.MatchString(text) {
		return fmt.Errorf("a date such as %s may have day or month first: write 2026-05-04", strings.Fields(text)[0])
	}
	if timeOfDay.MatchString(text) {
		c.form = ofDay
		return nil
	}
	for _, layout := range layouts {
		if _, err := time.Parse(layout, text); err == nil {
			c.form = func(text string, t *table) (time.Time, error) {
				return time.ParseInLocation(layout, text, zone(t))
			}
			return nil
		}
	}
	v, err := t.number(text)
	if err != nil {
		return errTime
	}
	c.begun = true
	switch { // Unix time, from 2001 on, by its unit
	case v >= 1e9 && v < 1e11:
		c.epoch = 1
	case v >= 1e12 && v < 1e14:
		c.epoch = 1e-3
	case v >= 1e15 && v < 1e17:
		c.epoch = 1e-6
	}
	if c.epoch > 0 {
		c.start = unix(text, c.epoch)
	}
	return nil
}

func zone(t *table) *time.Location {
	if t.Zone == nil {
		return time.UTC
	}
	return t.Zone
}

// ofDay reads a time of day, on the day on which it is next to the moment given.
func ofDay(text string, t *table) (time.Time, error) {
	of, err := time.Parse("15:04:05", text)
	if err != nil {
		return of, err
	}
	day := t.Day.In(zone(t))
	at := time.Date(day.Year(), day.Month(), day.Day(), of.Hour(), of.Minute(), of.Second(), of.Nanosecond(), zone(t))
	switch apart := at.Sub(day); {
	case apart > 12*time.Hour:
		return at.AddDate(0, 0, -1), nil
	case apart < -12*time.Hour:
		return at.AddDate(0, 0, 1), nil
	}
	return at, nil
}

func (c *clock) number(text string, t *table) (float64, error) {
	v, err := t.number(text)
	if err != nil {
		return 0, errTime
	}
	if c.epoch > 0 {
		return unix(text, c.epoch).Sub(c.start).Seconds(), nil
	}
	return v * t.timeScale, nil
}

// unix reads a Unix time, without rounding its fraction in a large number.
func unix(text string, scale float64) time.Time {
	whole, fraction, _ := strings.Cut(strings.ReplaceAll(text, ",", "."), ".")
	n, _ := strconv.ParseInt(whole, 10, 64)
	part, _ := strconv.ParseFloat("0."+fraction+"0", 64)
	per := int64(scale * 1e9)
	return time.Unix(0, n*per+int64(part*float64(per)))
}
