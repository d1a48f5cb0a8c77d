package store

import "context"

// stoppedError is that of an import or a merge whose context ended.
type stoppedError struct{ cause error }

func (e *stoppedError) Error() string {
	return "stopped before the end: no run was taken over; do it again"
}

func (e *stoppedError) Unwrap() error { return e.cause }

// Stopped is the error of an import or a merge, nil included. Where the context ended,
// which may show as a transaction or a file that is gone, it says so.
func Stopped(ctx context.Context, err error) error {
	if err == nil || ctx.Err() == nil {
		return err
	}
	return &stoppedError{ctx.Err()}
}
