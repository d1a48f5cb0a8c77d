package sqlite

import (
	"errors"
	"os"

	"golang.org/x/sys/windows"
)

// tryLock takes the file's lock, false where another handle has it. The locked
// byte lies far behind the text, because Windows locks keep others from reading.
func tryLock(f *os.File) (bool, error) {
	at := &windows.Overlapped{OffsetHigh: 1}
	err := windows.LockFileEx(windows.Handle(f.Fd()), windows.LOCKFILE_EXCLUSIVE_LOCK|windows.LOCKFILE_FAIL_IMMEDIATELY, 0, 1, 0, at)
	if errors.Is(err, windows.ERROR_LOCK_VIOLATION) || errors.Is(err, windows.ERROR_IO_PENDING) {
		return false, nil
	}
	return err == nil, err
}

// lockFolder needs no lock: Windows deletes and renames no file that is open.
func lockFolder(string) (*os.File, bool, error) { return nil, true, nil }

// openNoLink opens a file that is there. Only administrators make links.
func openNoLink(path string, flags int) (*os.File, error) { return os.OpenFile(path, flags, 0) }
