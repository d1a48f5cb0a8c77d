package schedule

import (
	"testing"
	"time"
	_ "time/tzdata" // the test knows its zones wherever it runs

	"github.com/robfig/cron/v3"
	"pgregory.net/rapid"
)

func zone(t testing.TB, name string) *time.Location {
	loc, err := time.LoadLocation(name)
	if err != nil {
		t.Fatal(err)
	}
	return loc
}

func when(t testing.TB, spec string) cron.Schedule {
	s, err := ParseSchedule(spec)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// Daylight saving in the EU: clocks go forward on 2026-03-29 at 01:00 UTC and back
// on 2026-10-25 at 01:00 UTC (Directive 2000/84/EC, articles 2 and 3: the last
// Sundays of March and October).
func TestNextOverDaylightSaving(t *testing.T) {
	berlin, lordHowe := zone(t, "Europe/Berlin"), zone(t, "Australia/Lord_Howe")
	for _, c := range []struct {
		spec  string
		loc   *time.Location
		after string
		want  []string // UTC
	}{
		// 02:30 does not exist on 29 March: done as the hour left out begins.
		{"30 2 * * *", berlin, "2026-03-28T00:00:00Z", []string{"2026-03-28T01:30:00Z", "2026-03-29T01:00:00Z", "2026-03-30T00:30:00Z"}},
		// 02:30 comes twice on 25 October: done the first time, in summer time.
		{"30 2 * * *", berlin, "2026-10-24T00:00:00Z", []string{"2026-10-24T00:30:00Z", "2026-10-25T00:30:00Z", "2026-10-26T01:30:00Z"}},
		{"0 3 * * *", berlin, "2026-10-25T00:00:00Z", []string{"2026-10-25T02:00:00Z", "2026-10-26T02:00:00Z"}},
		{"0 3 * * *", berlin, "2026-03-29T00:00:00Z", []string{"2026-03-29T01:00:00Z", "2026-03-30T01:00:00Z"}},
		// Two times in the hour left out are one.
		{"0,30 2 * * *", berlin, "2026-03-28T23:00:00Z", []string{"2026-03-29T01:00:00Z", "2026-03-30T00:00:00Z", "2026-03-30T00:30:00Z"}},
		// By elapsed time: every hour, whatever the clocks do.
		{"0 * * * *", berlin, "2026-10-24T23:30:00Z", []string{"2026-10-25T00:00:00Z", "2026-10-25T01:00:00Z", "2026-10-25T02:00:00Z"}},
		{"0 * * * *", berlin, "2026-03-28T23:30:00Z", []string{"2026-03-29T00:00:00Z", "2026-03-29T01:00:00Z", "2026-03-29T02:00:00Z"}},
		{"@every 2h", berlin, "2026-10-25T00:10:00Z", []string{"2026-10-25T02:10:00Z", "2026-10-25T04:10:00Z"}},
		// An expression with a zone of its own, read elsewhere.
		{"CRON_TZ=Europe/Berlin 30 2 * * *", time.UTC, "2026-10-24T12:00:00Z", []string{"2026-10-25T00:30:00Z", "2026-10-26T01:30:00Z"}},
		// Half an hour: Lord Howe Island goes back from 02:00 to 01:30 on 2026-04-05,
		// at 15:00 UTC the day before (IANA time zone database).
		{"45 1 * * *", lordHowe, "2026-04-04T00:00:00Z", []string{"2026-04-04T14:45:00Z", "2026-04-05T15:15:00Z"}},
		{"0 0 31 * *", time.UTC, "2026-01-31T00:00:00Z", []string{"2026-03-31T00:00:00Z"}},
	} {
		at, err := time.Parse(time.RFC3339, c.after)
		if err != nil {
			t.Fatal(err)
		}
		at = at.In(c.loc)
		for i, want := range c.want {
			at = Next(when(t, c.spec), at)
			if got := at.UTC().Format(time.RFC3339); got != want {
				t.Errorf("%q in %v, time %d: %s, want %s", c.spec, c.loc, i+1, got, want)
				break
			}
		}
	}
}

// Whatever the expression: times rise, and away from changes of the clock they are
// the library's.
func TestNextAgreesWithTheLibrary(t *testing.T) {
	berlin := zone(t, "Europe/Berlin")
	rapid.Check(t, func(t *rapid.T) {
		spec := rapid.SampledFrom([]string{"30 2 * * *", "0 0 * * 0", "15 1-3 * * *", "*/7 2 * * *", "0 2,3 29,30 3 *", "5 0 2 * * *", "59 23 * 10 *"}).Draw(t, "spec")
		s, err := ParseSchedule(spec)
		if err != nil {
			t.Fatal(err)
		}
		after := time.Unix(rapid.Int64Range(1.7e9, 1.9e9).Draw(t, "after"), 0)
		plain := after.UTC()
		if got, want := Next(s, plain), s.Next(plain); !got.Equal(want) {
			t.Fatalf("in UTC %s after %s: %s, want %s", spec, plain, got, want)
		}
		at := after.In(berlin)
		for range 5 {
			next := Next(s, at)
			if !next.After(at) {
				t.Fatalf("%s: %s is not after %s", spec, next, at)
			}
			_, offset := at.Zone()
			if _, o := next.Zone(); o == offset && !next.Equal(s.Next(at)) {
				if lib := s.Next(at); lib.Sub(at) > 0 && wallClock(lib).Equal(wallClock(next)) {
					t.Fatalf("%s after %s: %s, the library says %s", spec, at, next, lib)
				}
			}
			at = next
		}
	})
}

func TestParseSchedule(t *testing.T) {
	for _, spec := range []string{"", "often", "0 0 30 2 *", "61 * * * *", "@every"} {
		if _, err := ParseSchedule(spec); err == nil {
			t.Errorf("%q: no error", spec)
		}
	}
}
