package actuators

import "context"

// Keeper keeps on the disk what every place had before sweepd wrote to it first;
// *FirstValues is one. Its methods may be called from any goroutine.
type Keeper interface {
	// Set has the first value of the write's place on the disk, which is w.Was unless the
	// place has one already, and then writes. Where the first value cannot be kept nothing
	// is written, and the error wraps ErrNotKept.
	Set(ctx context.Context, m Machine, w Write) error
	// Keep has the first values of places on the disk that are not about to be written.
	Keep(ctx context.Context, writes ...Write) error
	// Pending are the places whose first values are kept, in the order in which they were:
	// Text is what was set last, Was the first value. It answers at once, also while a Set
	// waits for a disk, a driver or a command.
	Pending() []Write
	// Restore puts all first values back and forgets those that read back right; it returns
	// these. Each is tried whatever becomes of the others, and a hanging Set is not waited
	// for.
	Restore(ctx context.Context, m Machine) ([]Write, error)
}
