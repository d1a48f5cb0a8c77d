package main

import (
	"fmt"
	"strings"
	"testing"

	"sweepd/run"
)

// frameTable is a file of a minute of frames at 100 a second, each number times factor.
func frameTable(head string, number float64) string {
	return head + strings.Repeat(fmt.Sprintf("1,%v\n", number), 6000)
}

// Frames that cannot be the run's are refused with what was probably meant, and nothing is
// kept of them. The run lasted 60 s; 6000 frames of 10 ms are 60 s at 100 frames a second.
func TestFramesInTheWrongUnit(t *testing.T) {
	data := alone(t)
	must(t, "import", writeFile(t, "day.csv", "run,device,workload,duration_s\nr-0001,unit-oak,harbour-flight,60\n"))
	result := func(file string, flags ...string) outcome {
		return sweepd(t, append([]string{"run", "result", "r-0001", "--frames", writeFile(t, "frames.csv", file)}, flags...)...)
	}
	for _, c := range []struct {
		file, flags, says string
	}{
		{frameTable("n,frame_ms\n", 10_000), "--frame-column frame_ms", "run r-0001: the frame times add up to 60000 s, the run lasted 60 s: they are some 1000 times too long: --frame-unit us?"},
		{frameTable("n,time\n", 10), "--frame-column time --frame-unit us", "1000 times too short: --frame-unit ms?"},
		{frameTable("n,frame_ms\n", 10), "--frame-column frme_ms", "its columns are n, frame_ms: did you mean frame_ms?"},
	} {
		if o := result(c.file, strings.Fields(c.flags)...); o.code == exitOK || !strings.Contains(o.stderr, c.says) {
			t.Errorf("%s: exit %d, %s; want %q", c.flags, o.code, o.stderr, c.says)
		}
	}
	if r := listedRuns(t, data)[0]; len(r.Results) != 0 {
		t.Errorf("%+v", r.Results)
	}
	o := result("Capture of the harbour flight\nlimit,15\n"+frameTable("frame,fps\n", 100), "--frame-column", "fps")
	for _, says := range []string{"2 lines before the heading are left out", "the column holds rates (fps), one for each frame: a frame's time is 1 / its rate"} {
		if o.code != exitOK || !strings.Contains(o.stderr, says) {
			t.Errorf("exit %d, %s; want %q", o.code, o.stderr, says)
		}
	}
	r := listedRuns(t, data)[0]
	if fps := r.Results["fps_mean"].Value; fps < 99.9 || fps > 100.1 || r.HasFinding(run.FramesShort) {
		t.Errorf("%+v", r)
	}
}
