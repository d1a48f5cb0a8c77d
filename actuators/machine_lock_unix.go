//go:build unix

package actuators

import (
	"cmp"
	"errors"
	"fmt"
	"os"
	"runtime"

	"golang.org/x/sys/unix"
)

// lockMachine locks the folder of what is set itself (flock(2)): every user may open it,
// it needs no file that could be left, planted or deleted, and whoever sets the same
// places has the same folder.
func lockMachine(root string) (*machineLock, error) {
	if root = cmp.Or(root, "/sys"); runtime.GOOS != "linux" {
		root = "/"
	}
	f, err := os.Open(root)
	if err != nil {
		return nil, fmt.Errorf("lock this machine for setting: %w", err)
	}
	err = unix.Flock(int(f.Fd()), unix.LOCK_EX|unix.LOCK_NB)
	if err == nil {
		return heldBy(f), nil
	}
	_ = f.Close()
	if errors.Is(err, unix.EWOULDBLOCK) {
		return nil, &SetElsewhereError{}
	}
	return nil, fmt.Errorf("lock %s, so that nobody else sets this machine: %w", root, err)
}
