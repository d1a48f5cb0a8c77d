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
	// Late is how long after its time an entry is still done, when the device
	// slept or its clock was set forward; 0 means DefaultLate.
	Late time.Duration
	// Do does it. What it returns is told in the listing; ErrLeftOut says that
	// there was a reason not to.
	Do func(context.Context) (string, error)
}

// DefaultLate is how late an entry may still be done: what was due at night is
// better left out than done when the day's work begins (common practice, no
// source).
const DefaultLate = time.Hour

// ErrLeftOut is returned by what an Entry does where the device was not in a state
// to do it.
var ErrLeftOut = errors.New("left out")

// Went says how an entry went.
type Went string

const (
	WentDone    Went = "done"
	WentFailed  Went = "failed"
	WentLeftOut Went = "left out"
)

// Outcome is how an entry went when it was due last.
type Outcome struct {
	Entry   string        `json:"entry"`
	DueAt   run.Timestamp `json:"due_at"`
	EndedAt run.Timestamp `json:"ended_at"`
	Went    Went          `json:"outcome"`
	Text    string        `json:"text"`
}
