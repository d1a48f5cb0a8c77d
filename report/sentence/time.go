package sentence

import (
	"fmt"
	"math"
	"time"
)

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
