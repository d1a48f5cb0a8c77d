package agent

import (
	"strings"
	"testing"
)

func TestCheckFrames(t *testing.T) {
	minute := 60.0
	for _, c := range []struct {
		framesS  float64
		duration *float64
		least    float64
		found    bool
	}{
		{60, &minute, 0, false}, {54, &minute, 0, false}, {53.9, &minute, 0, true}, {0.06, &minute, 0, true},
		{53.9, &minute, 0.5, false}, {29, &minute, 0.5, true}, {75, &minute, 0, false}, {1, nil, 0, false},
	} {
		f, found := CheckFrames(c.framesS, c.duration, c.least)
		if found != c.found {
			t.Errorf("%+v: %v", c, f)
		}
		if found && (f.Code != FramesShort || f.Severity != SeverityDoubt || !strings.Contains(f.Text, "of the run's 60.0 s")) {
			t.Errorf("%+v", f)
		}
	}
}
