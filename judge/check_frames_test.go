package judge

import (
	"strings"
	"testing"

	"sweepd/run"
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
		{53.9, &minute, 0.5, false}, {29, &minute, 0.5, true}, {66, &minute, 0, false}, {1, nil, 0, false},
	} {
		f, found := CheckFrames(c.framesS, c.duration, c.least)
		if found != c.found {
			t.Errorf("%+v: %v", c, f)
		}
		if found && (f.Code != run.FramesShort || f.Severity != run.SeverityDoubt || !strings.Contains(f.Text, "of the run's 60.0 s")) {
			t.Errorf("%+v", f)
		}
	}
}

// Frame times that go well beyond the run are not of it; a tenth, or a second, of
// slack at its ends is nothing to doubt.
func TestCheckFramesBeyondTheRun(t *testing.T) {
	for _, c := range []struct {
		framesS, durationS float64
		want               string
	}{
		{10, 2, "the frame times cover 10.0 s, the run lasted 2.0 s: they belong to another run or column"},
		{2.9, 2, ""}, {3.1, 2, "the run lasted 2.0 s"}, {65.9, 60, ""}, {66.1, 60, "cover 66.1 s, the run lasted 60.0 s"},
	} {
		f, found := CheckFrames(c.framesS, &c.durationS, 0)
		if found != (c.want != "") || !strings.Contains(f.Text, c.want) || found && (f.Code != run.FramesShort || f.Severity != run.SeverityDoubt) {
			t.Errorf("%+v: %v %+v", c, found, f)
		}
	}
}
