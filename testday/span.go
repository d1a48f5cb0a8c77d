package testday

import (
	"cmp"
	"fmt"
	"regexp"
	"strconv"
	"strings"
	"time"
)

// ago is a time before now: 90m, 2h, 3d, 1w.
var ago = regexp.MustCompile(`^([0-9]{1,4})\s*(m|min|h|d|w)$`)

// spanForms are the ways to write a day or a moment, and how long what is written lasts.
var spanForms = []struct {
	layout string
	months int
	days   int
	last   time.Duration
	today  bool
}{
	{layout: "2006-01", months: 1},
	{layout: time.DateOnly, days: 1},
	{layout: "2006-01-02 15:04", last: time.Minute},
	{layout: "2006-01-02T15:04", last: time.Minute},
	{layout: time.DateTime, last: time.Second},
	{layout: "2006-01-02T15:04:05", last: time.Second},
	{layout: "2006-01-02 15:04:05Z07:00"},
	{layout: time.RFC3339Nano},
	{layout: "15:04", last: time.Minute, today: true},
	{layout: time.TimeOnly, last: time.Second, today: true},
}

// endOfDay is 24:00, the end of a day (ISO 8601-1:2019, 5.3.2), of today unless it is said.
var endOfDay = regexp.MustCompile(`^(?:([0-9]{4}-[0-9]{2}-[0-9]{2})[ T])?24:00(?::00)?$`)

// ParseSpan reads when: a day (2026-05-04, today, yesterday), a month (2026-05), a
// minute (2026-05-04 09:30, or 09:30 for today), an instant (RFC 3339), or a time ago
// (90m, 2h30m, 3d, 1w). Times without a zone are where the user is. from is the beginning
// of what was written and to its end, which no longer belongs to it: since a day means
// from its beginning, and until a day to its end.
func ParseSpan(text string, now time.Time) (from, to time.Time, err error) {
	word := strings.ToLower(strings.TrimSpace(text))
	midnight := time.Date(now.Year(), now.Month(), now.Day(), 0, 0, 0, 0, now.Location())
	switch word {
	case "today":
		return midnight, midnight.AddDate(0, 0, 1), nil
	case "yesterday":
		return midnight.AddDate(0, 0, -1), midnight, nil
	case "tomorrow":
		return midnight.AddDate(0, 0, 1), midnight.AddDate(0, 0, 2), nil
	case "now":
		return now, now, nil
	}
	if m := endOfDay.FindStringSubmatch(strings.ToUpper(word)); m != nil {
		day, err := time.ParseInLocation(time.DateOnly, cmp.Or(m[1], midnight.Format(time.DateOnly)), now.Location())
		if err == nil {
			end := day.AddDate(0, 0, 1)
			return end, end, nil
		}
	}
	if m := ago.FindStringSubmatch(word); m != nil {
		n, _ := strconv.Atoi(m[1]) // at most four digits
		at := now
		switch m[2] {
		case "d":
			at = now.AddDate(0, 0, -n)
		case "w":
			at = now.AddDate(0, 0, -7*n)
		case "h":
			at = now.Add(-time.Duration(n) * time.Hour)
		default:
			at = now.Add(-time.Duration(n) * time.Minute)
		}
		return at, at, nil
	}
	if d, err := time.ParseDuration(word); err == nil && d > 0 { // 2h30m
		return now.Add(-d), now.Add(-d), nil
	}
	if from, to, ok := writtenSpan(text, now); ok {
		return from, to, nil
	}
	return from, to, fmt.Errorf("%q: want a day (2026-05-04, today, yesterday), a time (2026-05-04 09:30, 09:30), or a time ago (2h, 3d)", text)
}

// writtenSpan reads a day, month or moment that is written out.
func writtenSpan(text string, now time.Time) (from, to time.Time, ok bool) {
	for _, f := range spanForms {
		at, err := time.ParseInLocation(f.layout, strings.TrimSpace(text), now.Location())
		if err != nil {
			continue
		}
		if f.today {
			at = time.Date(now.Year(), now.Month(), now.Day(), at.Hour(), at.Minute(), at.Second(), 0, now.Location())
		}
		return at, at.AddDate(0, f.months, f.days).Add(f.last), true
	}
	return from, to, false
}
