//go:build unix

package ownfile

import (
	"errors"
	"os"

	"golang.org/x/sys/unix"
)

// Open opens a file that is there to read and write; it follows no link that somebody laid in
// its place, and waits for nobody at the other end of a pipe.
func Open(path string) (*os.File, error) {
	f, err := os.OpenFile(path, os.O_RDWR|unix.O_NOFOLLOW|unix.O_NONBLOCK, 0)
	if errors.Is(err, unix.ELOOP) {
		return nil, errors.New("it is a link, which is not followed: take it away")
	}
	return f, err
}

// SyncFolder has the disk keep that a file was made, renamed or taken away.
func SyncFolder(dir string) error {
	f, err := os.Open(dir)
	if err != nil {
		return err
	}
	err = f.Sync()
	if errors.Is(err, unix.EINVAL) { // this file system has no need of it
		err = nil
	}
	return errors.Join(err, f.Close())
}
