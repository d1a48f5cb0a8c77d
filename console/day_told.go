package console

import (
	"bytes"
	"context"
	"time"

	"sweepd/run"
	"sweepd/testday"
)

const (
	// tellDayEvery is the longest time between two messages about a day without hands that
	// goes on: what only counts down is told so often.
	tellDayEvery = 10 * time.Second
	// dayWait is how long it may take to say how it stands.
	dayWait = time.Second
)

// dayTold is what those who watch were told of the day without hands.
type dayTold struct {
	text []byte // but for what only counts down
	at   time.Time
}

// look gives the message for those who watch, nil where there is no news and nobody is new,
// and tells whether a day goes on, so that there may be more soon.
func (t *dayTold) look(ask func(context.Context) (testday.HandsOff, error), isNew bool) (text []byte, goesOn bool) {
	ctx, cancel := context.WithTimeout(context.Background(), dayWait)
	defer cancel()
	day, err := ask(ctx)
	if err != nil {
		return nil, true // it may be over soon
	}
	goesOn = day.State != testday.Idle && day.State != testday.Over
	still := day
	still.Progress.LeftS, still.Progress.ExpectedEnd = 0, run.Timestamp{}
	if day.Runner != nil {
		runner := *day.Runner
		runner.Seen, still.Runner = run.Timestamp{}, &runner
	}
	print := message("day", "", still)
	if bytes.Equal(print, t.text) && !isNew && !(goesOn && time.Since(t.at) >= tellDayEvery) {
		return nil, goesOn
	}
	t.text, t.at = print, time.Now()
	return message("day", "", day), goesOn
}
