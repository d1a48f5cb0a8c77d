//go:build unix

package sqlite

import (
	"io/fs"

	"golang.org/x/sys/unix"
)

// mayWrite tells whether this process may write the file. It does not open it: that
// it closes it again would take away the locks that SQLite has on it (fcntl(2)).
func mayWrite(path string) error {
	if err := unix.Access(path, unix.W_OK); err != nil {
		return &fs.PathError{Op: "write", Path: path, Err: err}
	}
	return nil
}
