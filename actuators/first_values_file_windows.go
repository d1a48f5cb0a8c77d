package actuators

import (
	"io/fs"
	"os"

	"sweepd/internal/ownfile"
)

// openOwn opens a file that is there, see ownfile.Open.
func openOwn(path string) (*os.File, error) { return ownfile.Open(path) }

// mayTrust trusts: who may write into the folder is the system's to say.
func mayTrust(fs.FileInfo) (by string, err error) { return "", nil }
