//go:build unix

package userfile

import (
	"context"
	"errors"
	"os"
	"time"

	"golang.org/x/sys/unix"
)

// awaitFirst waits until a pipe or a device has something to read, or its end. A pipe
// that nobody writes to yet would else read as empty (fifo(7)).
func awaitFirst(ctx context.Context, f *os.File) error {
	raw, err := f.SyscallConn()
	if err != nil {
		return err
	}
	const step = 100 * time.Millisecond
	for end := time.Now().Add(patience); time.Now().Before(end); {
		if ctx.Err() != nil {
			return context.Cause(ctx)
		}
		ready, failed := 0, error(nil)
		err := raw.Control(func(fd uintptr) {
			ready, failed = unix.Poll([]unix.PollFd{{Fd: int32(fd), Events: unix.POLLIN}}, int(step.Milliseconds()))
		})
		if err = errors.Join(err, failed); err != nil && !errors.Is(err, unix.EINTR) {
			return err
		}
		if ready > 0 {
			return nil
		}
	}
	return silent()
}
