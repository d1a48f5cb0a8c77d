package collectors

import (
	"bytes"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"

	"golang.org/x/sys/unix"
)

// sysFile is a small text file of the kernel that stays open and is read again
// and again at offset 0. Opened and read by system call: os.File costs twice as
// much, through the poller that such files cannot use.
type sysFile struct {
	fd   int
	err  *ReadError // the last failure, returned again while it stays the same
	path string
	buf  [textMax]byte // last, so that a short text shares the fields' cache lines
}

// textMax is more than any one-value file holds. A longer one is not what it
// seems, and its text is refused.
const textMax = 512

// openSysFile opens path for reading. Only names below a sysfs or proc root
// come here.
func openSysFile(path string) (*sysFile, error) {
	fd, err := openRetry(path)
	if err == nil && fd >= sensorDescriptors() {
		err = errors.Join(errNoDescriptor, unix.Close(fd))
	}
	if err != nil {
		return nil, &fs.PathError{Op: "open", Path: path, Err: err}
	}
	return &sysFile{path: path, fd: fd}, nil
}

func openRetry(path string) (int, error) {
	for {
		fd, err := unix.Open(path, unix.O_RDONLY|unix.O_CLOEXEC|unix.O_NONBLOCK, 0)
		if !errors.Is(err, unix.EINTR) {
			return fd, err
		}
	}
}

// text reads the file and trims white space. The slice is the file's and holds
// until the next read.
func (f *sysFile) text() ([]byte, error) {
	n, err := unix.Pread(f.fd, f.buf[:], 0)
	for err == unix.EINTR {
		n, err = unix.Pread(f.fd, f.buf[:], 0)
	}
	if err != nil {
		return nil, f.fail(err)
	}
	if n == len(f.buf) {
		return nil, f.refuse(f.buf[:], "at most 511 bytes")
	}
	return bytes.TrimSpace(f.buf[:n]), nil
}

// fail reports that reading failed.
func (f *sysFile) fail(cause error) error {
	if f.err == nil || f.err.Err != cause {
		f.err = &ReadError{Path: f.path, Err: cause}
	}
	return f.err
}

// refuse reports text that is not what it should be.
func (f *sysFile) refuse(text []byte, want string) error { return f.refused(text, want, "") }

func (f *sysFile) refused(text []byte, want, believed string) error {
	if len(text) > 40 {
		text = text[:40]
	}
	if f.err == nil || f.err.Err != nil || f.err.Want != want || f.err.Believed != believed || f.err.Text != string(text) {
		f.err = &ReadError{Path: f.path, Text: string(text), Want: want, Believed: believed}
	}
	return f.err
}

func (f *sysFile) Close() error { return unix.Close(f.fd) }

// realPath is a path without links, as filepath.EvalSymlinks gives it. The
// kernel resolves it in one go, where the library asks for every part of the
// path: scans do this often.
func realPath(path string) (string, error) {
	fd, err := unix.Open(path, unix.O_PATH|unix.O_CLOEXEC, 0)
	if err != nil {
		return "", &fs.PathError{Op: "open", Path: path, Err: err}
	}
	defer unix.Close(fd)
	real, err := os.Readlink("/proc/self/fd/" + strconv.Itoa(fd))
	if err != nil || !filepath.IsAbs(real) { // proc is hidden
		return filepath.EvalSymlinks(path)
	}
	return real, nil
}

// isInteger tells whether text is one, of whatever size.
func isInteger(text []byte) bool {
	digits := bytes.TrimLeft(text, "+-")
	return len(digits) > 0 && len(text) <= len(digits)+1 && len(bytes.Trim(digits, "0123456789")) == 0
}

// parseInt parses a decimal integer with an optional sign, without allocating.
// It refuses what does not fit 63 bits.
func parseInt(text []byte) (int64, bool) {
	negative := false
	if len(text) > 0 && (text[0] == '-' || text[0] == '+') {
		negative = text[0] == '-'
		text = text[1:]
	}
	if len(text) == 0 || len(text) > 18 {
		return 0, false
	}
	var v int64
	for _, c := range text {
		if c < '0' || c > '9' {
			return 0, false
		}
		v = v*10 + int64(c-'0')
	}
	if negative {
		v = -v
	}
	return v, true
}
