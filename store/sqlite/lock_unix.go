//go:build unix

package sqlite

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"slices"

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

// cannotLockFolders is what file systems say that lock files only, such as NFS
// (flock(2)).
var cannotLockFolders = []error{unix.EBADF, unix.EINVAL, unix.ENOLCK, unix.EOPNOTSUPP, unix.EISDIR}

// lockFolder takes the lock of the folder itself, which lasts as long as the folder does.
// Without a file it is not held: this file system has none.
func lockFolder(dir string) (f *os.File, taken bool, err error) {
	if f, err = os.Open(dir); err != nil {
		return nil, false, err
	}
	taken, err = tryLock(f)
	if slices.ContainsFunc(cannotLockFolders, func(cannot error) bool { return errors.Is(err, cannot) }) {
		return nil, true, f.Close()
	}
	return f, taken, err
}

// openNoLink opens a regular file that is there; it follows no link that somebody laid
// in its place.
func openNoLink(path string, flags int) (*os.File, error) {
	f, err := os.OpenFile(path, flags|unix.O_NOFOLLOW|unix.O_NONBLOCK, 0)
	if errors.Is(err, unix.ELOOP) {
		return nil, &fs.PathError{Op: "open", Path: path, Err: errLink}
	}
	if err != nil {
		return nil, err
	}
	info, err := f.Stat()
	if err == nil && !info.Mode().IsRegular() {
		err = fmt.Errorf("%s is no regular file: take it away", path)
	}
	if err != nil {
		return nil, errors.Join(err, f.Close())
	}
	return f, nil
}

var errLink = errors.New("it is a link, which is not followed: take it away")
