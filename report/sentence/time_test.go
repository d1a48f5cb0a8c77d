package sentence

import (
	"testing"
	"time"
)

func TestAgo(t *testing.T) {
	for d, want := range map[time.Duration]string{
		-time.Second: "just now", 59 * time.Second: "just now", time.Minute: "1 min ago", 89 * time.Minute: "89 min ago",
		2*time.Hour + 59*time.Minute: "2 h ago", 47 * time.Hour: "47 h ago", 49 * time.Hour: "2 days ago", 100 * 24 * time.Hour: "100 days ago",
	} {
		if got := Ago(d); got != want {
			t.Errorf("%v: %s, want %s", d, got, want)
		}
	}
}

func TestAbout(t *testing.T) {
	for s, want := range map[float64]string{0: "about 10 s", 11: "about 20 s", 89: "about 90 s", 90: "about 2 min", 179: "about 3 min", 5399: "about 90 min", 5400: "about 2 h"} {
		if got := About(s); got != want {
			t.Errorf("%v s: %s, want %s", s, got, want)
		}
	}
}
