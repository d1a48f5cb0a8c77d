package testday

import (
	"fmt"
	"time"

	"sweepd/analysis"
	"sweepd/report/sentence"
	"sweepd/run"
)

// settingSaid is a setting as tables have it: "10 W", or its name.
func settingSaid(s run.Setting) string {
	if w, known := s.Watts(); known {
		return sentence.Setting(analysis.Number(w), "")
	}
	return s.Name()
}

// RunSaid names a run as a person knows it: "harbour-flight at 10 W".
func RunSaid(l run.Labels) string {
	if !l.Setting.Known() {
		return l.Workload
	}
	return l.Workload + " at " + settingSaid(l.Setting.Setting)
}

// agoSaid is how long ago something was that just happened, with its seconds.
func agoSaid(d time.Duration) string {
	if d < 0 || d >= 90*time.Second {
		return sentence.Ago(d)
	}
	return fmt.Sprintf("%d s ago", int(d.Seconds()))
}

// StartRefused says to whoever stands beside the device why no run was started: r is
// recording, and by started it ("" unknown).
func StartRefused(r run.Run, by string, now time.Time) string {
	if by != "" {
		by = " by " + by
	}
	return fmt.Sprintf("%s is recording already, started %s%s: nothing was started now", RunSaid(r.Labels), agoSaid(now.Sub(r.StartedAt.Time)), by)
}
