package collectors

import "fmt"

// ReadError says which file could not be read or understood.
type ReadError struct {
	Path string
	Text string // as read, shortened; empty when nothing was read
	Want string // what was expected, with its unit; empty when the read itself failed
	Err  error  // the cause; nil when the text is at fault
}

func (e *ReadError) Error() string {
	if e.Err != nil {
		return fmt.Sprintf("read %s: %v", e.Path, e.Err)
	}
	return fmt.Sprintf("read %s: got %q, want %s", e.Path, e.Text, e.Want)
}

func (e *ReadError) Unwrap() error { return e.Err }
