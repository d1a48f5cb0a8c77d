package actuators

import (
	"context"
	"errors"
	"fmt"
	"math"
	"strings"
	"syscall"
	"time"

	"sweepd/run"
)

// NotObeyedError is that a place took a write without an error and reads otherwise.
type NotObeyedError struct {
	Write Write
	Read  string // what the place reads now
}

func (e *NotObeyedError) Error() string {
	return fmt.Sprintf("%s was set to %q and reads %q: it was not obeyed", e.Write.Place(), run.Visible(e.Write.Text), run.Visible(e.Read))
}

// SameText tells whether a place that reads got has the text that is wanted: the same,
// white space and a number's notation aside, within a leeway in the place's own unit.
func SameText(got, want string, leeway float64) bool {
	got, want = strings.TrimSpace(got), strings.TrimSpace(want)
	if got == want {
		return true
	}
	a, errA := run.ParseNumber(got)
	b, errB := run.ParseNumber(want)
	return errA == nil && errB == nil && math.Abs(a-b) <= leeway
}

// Firmware may take a moment until what it was told is what it shows. Common practice, no
// source.
const (
	obeyTries = 4
	obeyPause = 50 * time.Millisecond
)

// obeyed reads back what was written, a few times if need be.
func obeyed(ctx context.Context, m Machine, w Write) error {
	for i := 1; ; i++ {
		now, err := m.Read(ctx, w)
		switch {
		case err == nil && SameText(now, w.Text, w.Leeway):
			return nil
		case i < obeyTries && pause(ctx, time.Duration(i)*obeyPause) == nil:
		case err != nil:
			return fmt.Errorf("%s was set to %q, but it cannot be read back: %w", w.Place(), w.Text, err)
		default:
			return &NotObeyedError{Write: w, Read: now}
		}
	}
}

// A busy place is tried again so many times, with so much time between, each time as much
// again: 1.5 s in all. Common practice, no source.
const (
	busyTries = 5
	busyPause = 100 * time.Millisecond
)

// retryBusy tries again while a driver says that it is busy.
func retryBusy(ctx context.Context, try func() error) error {
	for i := 1; ; i++ {
		err := try()
		if !(errors.Is(err, syscall.EBUSY) || errors.Is(err, syscall.EAGAIN) || errors.Is(err, syscall.EINTR)) {
			return err
		}
		if i > busyTries || pause(ctx, time.Duration(i)*busyPause) != nil {
			return fmt.Errorf("tried %d times: %w", i, err)
		}
	}
}

// pause waits for a while, or returns the error of a context that ends before.
func pause(ctx context.Context, d time.Duration) error {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-t.C:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}
