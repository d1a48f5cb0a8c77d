package testday

import (
	"testing"
	"time"
)

// The days of the change to summer time have 23 hours (tz database, Europe/Berlin,
// 2026-03-29): a day is from midnight to midnight.
func TestParseSpan(t *testing.T) {
	berlin, err := time.LoadLocation("Europe/Berlin")
	if err != nil {
		t.Fatal(err)
	}
	now := time.Date(2026, 3, 30, 14, 20, 5, 0, berlin)
	for text, want := range map[string][2]string{
		"today":                     {"2026-03-30T00:00:00+02:00", "2026-03-31T00:00:00+02:00"},
		"Yesterday":                 {"2026-03-29T00:00:00+01:00", "2026-03-30T00:00:00+02:00"},
		"2026-03-29":                {"2026-03-29T00:00:00+01:00", "2026-03-30T00:00:00+02:00"},
		"2026-02":                   {"2026-02-01T00:00:00+01:00", "2026-03-01T00:00:00+01:00"},
		"2026-03-04 09:30":          {"2026-03-04T09:30:00+01:00", "2026-03-04T09:31:00+01:00"},
		"2026-03-04T09:30:07":       {"2026-03-04T09:30:07+01:00", "2026-03-04T09:30:08+01:00"},
		"09:30":                     {"2026-03-30T09:30:00+02:00", "2026-03-30T09:31:00+02:00"},
		"2026-03-04T09:30:00Z":      {"2026-03-04T10:30:00+01:00", "2026-03-04T10:30:00+01:00"},
		"2026-03-04T09:30:00+05:00": {"2026-03-04T05:30:00+01:00", "2026-03-04T05:30:00+01:00"},
		"2h":                        {"2026-03-30T12:20:05+02:00", "2026-03-30T12:20:05+02:00"},
		"90 min":                    {"2026-03-30T12:50:05+02:00", "2026-03-30T12:50:05+02:00"},
		"1d":                        {"2026-03-29T14:20:05+02:00", "2026-03-29T14:20:05+02:00"},
		"1w":                        {"2026-03-23T14:20:05+01:00", "2026-03-23T14:20:05+01:00"},
		"2h30m":                     {"2026-03-30T11:50:05+02:00", "2026-03-30T11:50:05+02:00"},
		"24:00":                     {"2026-03-31T00:00:00+02:00", "2026-03-31T00:00:00+02:00"},
		"2026-03-28 24:00":          {"2026-03-29T00:00:00+01:00", "2026-03-29T00:00:00+01:00"},
		"2026-03-28T24:00:00":       {"2026-03-29T00:00:00+01:00", "2026-03-29T00:00:00+01:00"},
		"tomorrow":                  {"2026-03-31T00:00:00+02:00", "2026-04-01T00:00:00+02:00"},
		"now":                       {"2026-03-30T14:20:05+02:00", "2026-03-30T14:20:05+02:00"},
	} {
		from, to, err := ParseSpan(text, now)
		if err != nil {
			t.Errorf("%q: %v", text, err)
			continue
		}
		got := [2]string{from.In(berlin).Format(time.RFC3339), to.In(berlin).Format(time.RFC3339)}
		if got != want {
			t.Errorf("%q is %v, want %v", text, got, want)
		}
	}
	for _, text := range []string{"", "soon", "04.05.2026", "2026-13-01", "25:00", "24:01", "2026-02-30 24:00", "99999d", "0s", "-2h30m", "-2h", "2026-05-04 9", "last"} {
		if from, to, err := ParseSpan(text, now); err == nil {
			t.Errorf("%q is %v to %v", text, from, to)
		}
	}
}

func TestFilterRequest(t *testing.T) {
	now := time.Date(2026, 5, 4, 12, 0, 0, 0, time.UTC)
	for _, q := range []FilterRequest{
		{Supply: "batery"}, {State: "finish"}, {Finding: "hot"}, {Setting: "0W"}, {Variant: []string{"cores"}}, {Since: "soon"}, {Until: "soon"},
		{Since: "today", Until: "yesterday"}, {Last: -1},
	} {
		if f, err := q.Filter(now); err == nil {
			t.Errorf("%+v selects %+v", q, f)
		}
	}
	f, err := FilterRequest{Device: "unit-oak", Workload: "tile-sort", Supply: "battery", Variant: []string{"cores=6"}, Setting: "15", State: "rejected",
		Finding: "hot_start", Since: "yesterday", Until: "2026-05-04", Last: 3}.Filter(now)
	if err != nil || f.Setting.String() != "15W" || f.Finding != "hot_start" || f.Limit != 3 || f.Since.Day() != 3 || f.Until.Day() != 5 {
		t.Errorf("%+v, %v", f, err)
	}
}
