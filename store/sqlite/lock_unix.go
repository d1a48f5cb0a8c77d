//go:build unix

package sqlite

import (
	"errors"
	"os"

	"golang.org/x/sys/unix"
)

// tryLock takes the file's lock, false where another open file has it.
func tryLock(f *os.File) (bool, error) {
	err := unix.Flock(int(f.Fd()), unix.LOCK_EX|unix.LOCK_NB)
	if errors.Is(err, unix.EWOULDBLOCK) {
		return false, nil
	}
	return err == nil, err
}
