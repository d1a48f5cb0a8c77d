package testday

import (
	"fmt"
	"time"

	"sweepd/report/sentence"
	"sweepd/run"
)

// runSaid names a run as a person knows it: "harbour-flight at 10 W".
func runSaid(l run.Labels) string {
	if !l.Setting.Known() {
		return l.Workload
	}
	return l.Workload + " at " + sentence.SettingOf(l.Setting.Setting)
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
	return fmt.Sprintf("%s is recording already, started %s%s: nothing was started now", runSaid(r.Labels), agoSaid(now.Sub(r.StartedAt.Time)), by)
}
