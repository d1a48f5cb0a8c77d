//go:build unix

package actuators

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"strconv"
	"syscall"

	"sweepd/internal/ownfile"
)

// openOwn opens a file that is there, see ownfile.Open.
func openOwn(path string) (*os.File, error) {
	f, err := ownfile.Open(path)
	if errors.Is(err, fs.ErrPermission) {
		return nil, fmt.Errorf("%w: ask its owner, or with sudo", err)
	}
	return f, err
}

// mayTrust tells why what a file says must not be carried out: somebody else may have
// written it. The administrator may carry out what any agent left; by is the user then.
func mayTrust(info fs.FileInfo) (by string, err error) {
	if !info.Mode().IsRegular() {
		return "", errors.New("it is no file: take it away")
	}
	if info.Mode().Perm()&0o022 != 0 {
		return "", fmt.Errorf("others than its owner may write it (mode %#o), so what it says is not trusted: look at it, then chmod 600", info.Mode().Perm())
	}
	s, ok := info.Sys().(*syscall.Stat_t)
	if !ok || int(s.Uid) == os.Geteuid() {
		return "", nil
	}
	by = "#" + strconv.Itoa(int(s.Uid))
	if os.Geteuid() != 0 {
		return "", fmt.Errorf("it belongs to user %s: ask as that user, or with sudo", by)
	}
	return by, nil
}
