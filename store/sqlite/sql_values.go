package sqlite

import (
	"fmt"
	"time"

	"sweepd/run"
)

// setting undoes watts and the setting's name. Plans and imported runs of older
// versions may hold watts as a name, where a table had 15W in its column setting.
func setting(watts *float64, name string) run.Setting {
	if watts != nil {
		return run.Watts(*watts)
	}
	if name == "" { // most imported runs: nothing to parse
		return run.Setting{}
	}
	if s, err := run.ParseSetting(name); err == nil && s.Name() == "" {
		return s
	}
	return run.Named(name)
}

// watts are a setting's for SQL: NULL where only a name is known, or nothing.
func watts(s run.Setting) any {
	if w, ok := s.Watts(); ok {
		return w
	}
	return nil
}

// number is p for SQL: NULL where unknown.
func number(p *float64) any {
	if p == nil {
		return nil
	}
	return *p
}

// stampText is a time for SQL: NULL where zero.
func stampText(t time.Time) any {
	if t.IsZero() {
		return nil
	}
	return run.Stamp(t).String()
}

// parseStamp undoes stampText; "" is a zero time.
func parseStamp(text string) (run.Timestamp, error) {
	if text == "" {
		return run.Timestamp{}, nil
	}
	t, err := time.Parse(time.RFC3339Nano, text)
	if err != nil {
		return run.Timestamp{}, fmt.Errorf("stored time %q is not RFC 3339: %w", text, err)
	}
	return run.Stamp(t), nil
}
