package run

import (
	"encoding/json"
	"testing"
	"time"
)

// RFC 3339, section 5.8: 1996-12-19T16:39:57-08:00 is 1996-12-20T00:39:57Z.
func TestTimestamp(t *testing.T) {
	at, err := time.Parse(time.RFC3339, "1996-12-19T16:39:57-08:00")
	if err != nil {
		t.Fatal(err)
	}
	s := Stamp(at.Add(123456789 * time.Nanosecond))
	const want = "1996-12-20T00:39:57.123Z"
	if s.String() != want || s.Nanosecond() != 123e6 {
		t.Errorf("%s and %d ns, want %s", s, s.Nanosecond(), want)
	}
	if text, err := s.MarshalText(); err != nil || string(text) != want {
		t.Errorf("as text %s, %v", text, err)
	}
	if text, err := json.Marshal(s); err != nil || string(text) != `"`+want+`"` {
		t.Errorf("as JSON %s, %v", text, err)
	}
	for text, want := range map[string]Timestamp{
		`"1996-12-20T00:39:57.123Z"`: s, `"1996-12-19T16:39:57.1239-08:00"`: s, `null`: {},
	} {
		got := Stamp(time.Now())
		if err := json.Unmarshal([]byte(text), &got); err != nil || got != want {
			t.Errorf("%s is %v, %v, want %v", text, got, err, want)
		}
	}
	for _, text := range []string{`"yesterday"`, `"1996-12-20"`, `7`, `""`} {
		got := s
		refused(t, text, json.Unmarshal([]byte(text), &got), "is not RFC 3339")
	}
	// A time that is not known is no time.
	if text, err := (Timestamp{}).MarshalText(); err != nil || len(text) != 0 {
		t.Errorf("an unknown time as text: %q, %v", text, err)
	}
	if text, err := json.Marshal(Timestamp{}); err != nil || string(text) != "null" {
		t.Errorf("an unknown time as JSON: %s, %v", text, err)
	}
}

func TestShort(t *testing.T) {
	east := time.FixedZone("", 2*3600)
	now := time.Date(2026, 5, 4, 23, 30, 0, 0, time.UTC)
	for want, c := range map[string]struct {
		at time.Time
		in *time.Location
	}{
		"22:05":            {time.Date(2026, 5, 4, 22, 5, 59, 0, time.UTC), time.UTC},
		"00:05":            {time.Date(2026, 5, 4, 22, 5, 0, 0, time.UTC), east}, // there it is the 5th now, too
		"2026-05-04 23:59": {time.Date(2026, 5, 4, 21, 59, 0, 0, time.UTC), east},
		"2026-05-03 23:59": {time.Date(2026, 5, 3, 23, 59, 0, 0, time.UTC), time.UTC},
		"":                 {time.Time{}, time.UTC},
	} {
		if got := (Timestamp{c.at}).Short(now, c.in); got != want {
			t.Errorf("%v: %q, want %q", c.at, got, want)
		}
	}
}
