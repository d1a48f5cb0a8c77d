//go:build unix

package console

import (
	"errors"
	"os/user"
	"strconv"
)

// systemGroup is the group of the system's agent, whose members may change what is kept.
const systemGroup = "sweepd"

// writeToken writes the file anew, for its owner and its group alone: the system's where there is one and this process may give
// it, else that of the folder or of the process.
func writeToken(path, text string) error {
	f, err := newFile(path)
	if err != nil {
		return err
	}
	if g, err := user.LookupGroup(systemGroup); err == nil {
		if id, err := strconv.Atoi(g.Gid); err == nil {
			_ = f.Chown(-1, id) // else the group stays what it is
		}
	}
	_, err = f.WriteString(text)
	return errors.Join(err, f.Chmod(0o640), f.Close())
}
