package collectors

import (
	"errors"
	"fmt"
)

// ReadError says which file could not be read or understood.
type ReadError struct {
	Path string
	Text string // as read, shortened; empty when nothing was read
	Want string // what was expected, with its unit; empty when the read itself failed
	Err  error  // the cause; nil when the text is at fault
	// Believed is the range that a number lies beyond, in its SI unit; empty where the
	// text is no number, or nothing was read.
	Believed string
}

func (e *ReadError) Error() string {
	if e.Err != nil {
		return fmt.Sprintf("read %s: %v", e.Path, e.Err)
	}
	if e.Believed != "" {
		return fmt.Sprintf("refused: %q read from %s is beyond %s", e.Text, e.Path, e.Believed)
	}
	return fmt.Sprintf("read %s: got %q, want %s", e.Path, e.Text, e.Want)
}

// beyondBelief tells whether err is a number that was refused.
func beyondBelief(err error) bool {
	e, ok := errors.AsType[*ReadError](err)
	return ok && e.Believed != ""
}

// CauseOf is what err says of a file or call; nil where it says nothing of it.
func CauseOf(err error, path string) *ReadError {
	for _, cause := range each(err) {
		if e, ok := errors.AsType[*ReadError](cause); ok && e.Path == path {
			return e
		}
	}
	return nil
}

func (e *ReadError) Unwrap() error { return e.Err }
