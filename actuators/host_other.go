//go:build !linux

package actuators

import "errors"

// errNoFiles is that only Linux shows what can be set as files.
var errNoFiles = errors.New("this system has no such files: what the user's own command sets is all that can be set")

func (h Host) readFile(string) (string, error) { return "", errNoFiles }

func (h Host) writeFile(string, string) error { return errNoFiles }
