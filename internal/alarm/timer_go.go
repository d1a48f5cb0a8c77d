package alarm

import "time"

// goTimer is a timer of Go's.
type goTimer struct{ t *time.Timer }

func (g *goTimer) start(ring func()) {
	g.t = time.AfterFunc(time.Hour, ring)
	g.t.Stop()
}

func (g *goTimer) set(after time.Duration) {
	if after > 0 {
		g.t.Reset(after)
	} else {
		g.t.Stop()
	}
}
