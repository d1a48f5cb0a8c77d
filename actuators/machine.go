package actuators

import "context"

// Machine carries out writes. Set only by a test is anything but the real one; it
// injects what real kernels do: EBUSY, EINVAL, EACCES, a value that does not stay.
// Its methods may be called from any goroutine. They return soon after the end of ctx, and
// within some seconds at any rate, even where a driver or a command hangs. A place whose
// write still hangs takes no other, which fails with ErrNoAnswer.
type Machine interface {
	// Read is the text of a place of a write as it is now, without the white space around it.
	Read(ctx context.Context, w Write) (string, error)
	// Write writes w.Text to its place, or runs its command.
	Write(ctx context.Context, w Write) error
	// PutBack writes w.Was to its place, or runs its command Back.
	PutBack(ctx context.Context, w Write) error
}
