package run

import (
	"fmt"
	"time"
)

// Timestamp is a wall time as it is stored and shown: UTC, to the millisecond.
type Timestamp struct{ time.Time }

// Stamp rounds t down to the millisecond, in UTC.
func Stamp(t time.Time) Timestamp { return Timestamp{t.UTC().Truncate(time.Millisecond)} }

const timestampLayout = "2006-01-02T15:04:05.000Z07:00"

// String is RFC 3339 in UTC with milliseconds.
func (t Timestamp) String() string { return t.UTC().Format(timestampLayout) }

// Short is the time as lists show it, in a zone: of the day that is now there only the
// time of day ("14:05"), of others the day too ("2026-05-04 14:05"); "" for a zero time.
func (t Timestamp) Short(now time.Time, in *time.Location) string {
	const day = "2006-01-02"
	at := t.In(in)
	switch {
	case t.IsZero():
		return ""
	case at.Format(day) == now.In(in).Format(day):
		return at.Format("15:04")
	}
	return at.Format(day + " 15:04")
}

// MarshalText gives String; a zero time is empty.
func (t Timestamp) MarshalText() ([]byte, error) {
	if t.IsZero() {
		return nil, nil
	}
	return []byte(t.String()), nil
}

// MarshalJSON gives String in quotes, null for a zero time.
func (t Timestamp) MarshalJSON() ([]byte, error) {
	if t.IsZero() {
		return []byte("null"), nil
	}
	return []byte(`"` + t.String() + `"`), nil
}

// UnmarshalJSON reads any RFC 3339 time, or null.
func (t *Timestamp) UnmarshalJSON(text []byte) error {
	if string(text) == "null" {
		*t = Timestamp{}
		return nil
	}
	v, err := time.Parse(`"`+time.RFC3339Nano+`"`, string(text))
	if err != nil {
		return fmt.Errorf("time %s is not RFC 3339 (2026-05-01T09:30:00Z): %w", text, err)
	}
	*t = Stamp(v)
	return nil
}
