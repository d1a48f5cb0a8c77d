//go:build unix

package userfile

import (
	"io/fs"
	"os"
	"syscall"

	"golang.org/x/sys/unix"
)

// withoutWaiting opens a pipe at once, or fails with errNoReader (fifo(7)).
const (
	withoutWaiting = syscall.O_NONBLOCK | syscall.O_NOCTTY
	errNoReader    = syscall.ENXIO
)

// mayWrite tells why the caller may not write a file, which its replacement would not
// ask. It does not open it: closing it again would take away the locks that this
// process may have on it (fcntl(2)).
func mayWrite(file string) error {
	if err := unix.Faccessat(unix.AT_FDCWD, file, unix.W_OK, unix.AT_EACCESS); err != nil {
		return &fs.PathError{Op: "open", Path: file, Err: err}
	}
	return nil
}

// keepRights gives f the owner, group, access list and mode of the file that it replaces.
// Where the group cannot be kept, another group gets what everybody has.
func keepRights(f *os.File, file string, old fs.FileInfo) error {
	made, err := f.Stat()
	if err != nil {
		return err
	}
	is, was := made.Sys().(*syscall.Stat_t), old.Sys().(*syscall.Stat_t)
	mode := old.Mode().Perm()
	if is.Uid != was.Uid || is.Gid != was.Gid {
		if f.Chown(int(was.Uid), int(was.Gid)) != nil && is.Gid != was.Gid && f.Chown(-1, int(was.Gid)) != nil {
			mode = mode&^0o070 | mode&0o007<<3
			return f.Chmod(mode)
		}
	}
	if err := f.Chmod(mode); err != nil {
		return err
	}
	return keepAccessList(f, file)
}
