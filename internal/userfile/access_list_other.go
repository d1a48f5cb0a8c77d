//go:build unix && !linux

package userfile

import "os"

// keepAccessList is for systems whose access lists are known.
func keepAccessList(*os.File, string) error { return nil }
