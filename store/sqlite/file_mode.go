package sqlite

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
)

// makeShared makes a file, where absent, that is for whom its folder is for: the
// group may write it where the folder hands its group down (the set-group-ID bit, as
// the Debian package sets it). SQLite gives the files beside a data file its mode. One
// that is there must be writable: SQLite would open it for reading without a word.
func makeShared(path string) error {
	f, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE|os.O_EXCL, 0o666) // less the umask
	if errors.Is(err, fs.ErrExist) {
		return mayWrite(path)
	}
	if err != nil {
		return err
	}
	folder, err := os.Stat(filepath.Dir(path))
	if err == nil && folder.Mode()&fs.ModeSetgid != 0 {
		err = f.Chmod(0o660)
	}
	return errors.Join(err, f.Close())
}
