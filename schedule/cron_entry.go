package schedule

import (
	"context"
	"errors"
	"time"

	"github.com/robfig/cron/v3"

	"sweepd/run"
)

// Entry is something to be done at certain times.
type Entry struct {
	Name string
	When cron.Schedule
	// MaxDelay is how long after its time an entry is still done, where the device
	// slept or its clock was set forward; 0 means DefaultMaxDelay.
	MaxDelay time.Duration
	// Do does it and returns a text for the listing. An error that wraps ErrLeftOut
	// means that there was a reason not to do it.
	Do func(context.Context) (string, error)
}

// DefaultMaxDelay is how late an entry may still be done: what was due at night is
// better left out than done when the day's work begins (common practice, no
// source).
const DefaultMaxDelay = time.Hour

// ErrLeftOut is returned by Entry.Do where the device was not in a state to do it.
var ErrLeftOut = errors.New("left out")

// Status says whether an entry was done when it was due.
type Status string

const (
	StatusDone    Status = "done"
	StatusFailed  Status = "failed"
	StatusLeftOut Status = "left out"
)

// Outcome is what became of an entry one time that it was due.
type Outcome struct {
	Entry   string        `json:"entry"`
	DueAt   run.Timestamp `json:"due_at"`
	EndedAt run.Timestamp `json:"ended_at"`
	Status  Status        `json:"outcome"`
	Text    string        `json:"text"`
}
