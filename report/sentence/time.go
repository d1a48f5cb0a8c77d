package sentence

import (
	"fmt"
	"math"
	"strings"
	"time"

	"sweepd/analysis"
)

// Clock is a time in hours as people say it: "1 h 05 min", "49 min", "40 s".
func Clock(hours analysis.Number) string {
	if !hours.Known() {
		return Dash
	}
	minutes := int(math.Round(60 * float64(hours)))
	switch {
	case minutes == 0:
		return fmt.Sprintf("%.0f s", 3600*float64(hours))
	case minutes < 60:
		return fmt.Sprintf("%d min", minutes)
	}
	return fmt.Sprintf("%d h %02d min", minutes/60, minutes%60)
}

// ClockWithin is a time in hours with its interval: "1 h 05 min (1 h 02 min to 1 h 08 min)",
// "49 min (47 to 51)".
func ClockWithin(hours, lower, upper analysis.Number) string {
	text := Clock(hours)
	if !lower.Known() || !upper.Known() {
		return text
	}
	from, to := Clock(lower), Clock(upper)
	switch {
	case from == to:
		return text + " (within a minute)"
	case minutes(from) && minutes(to):
		from = strings.TrimSuffix(from, " min")
		to = strings.TrimSuffix(to, " min")
	}
	return text + " (" + from + " to " + to + ")"
}

// minutes tells whether a time of Clock is one of minutes alone.
func minutes(clock string) bool {
	return strings.Count(clock, " ") == 1 && strings.HasSuffix(clock, " min")
}

// Ago says how long ago something was, to a person: "just now", "5 min ago", "2 h ago",
// "3 days ago".
func Ago(d time.Duration) string {
	switch {
	case d < time.Minute:
		return "just now"
	case d < 90*time.Minute:
		return fmt.Sprintf("%d min ago", int(d.Minutes()))
	case d < 48*time.Hour:
		return fmt.Sprintf("%d h ago", int(d.Hours()))
	}
	return fmt.Sprintf("%d days ago", int(d.Hours()/24))
}

// About is a time that is only estimated, s: "about 20 s", "about 3 min", "about 2 h".
func About(seconds float64) string {
	switch {
	case seconds < 90:
		return fmt.Sprintf("about %.0f s", math.Max(10, 10*math.Ceil(seconds/10)))
	case seconds < 90*60:
		return fmt.Sprintf("about %.0f min", math.Ceil(seconds/60))
	}
	return fmt.Sprintf("about %.0f h", math.Ceil(seconds/3600))
}
