package testday

import (
	"fmt"
	"regexp"
	"slices"
	"time"
	"unicode/utf8"

	"sweepd/run"
)

// What is told is bounded: so many sentences of so many bytes.
const (
	toldMost  = 50
	toldBytes = 300
)

// longPath is one of five names and more; of these the last three are enough to know it by.
var longPath = regexp.MustCompile(`(?:/[^/\s]+){2,}((?:/[^/\s]+){3})`)

// oneLine is one line of at most toldBytes of a text, without the beginnings of long paths:
// `sweepd actuators` has them whole.
func oneLine(text string) string {
	text = longPath.ReplaceAllString(run.Visible(text), "…$1")
	if len(text) <= toldBytes {
		return text
	}
	end := toldBytes - len("…")
	for !utf8.RuneStart(text[end]) {
		end--
	}
	return text[:end] + "…"
}

// tell says a sentence about the day; one that was said last is not said again.
func (d *HandsOffDay) tell(format string, args ...any) {
	text := oneLine(fmt.Sprintf(format, args...))
	d.mu.Lock()
	told := d.kept.Told
	if n := len(told); n > 0 && told[n-1].Text == text {
		d.mu.Unlock()
		return
	}
	told = append(slices.Clone(told), Told{run.Stamp(time.Now()), text})
	if len(told) > toldMost {
		told = told[len(told)-toldMost:]
	}
	d.kept.Told = told
	d.mu.Unlock()
	d.o.Say(text)
	d.o.Changed()
}
