//go:build unix

package sqlite

import (
	"io/fs"
	"os"
	"path/filepath"
	"syscall"
	"testing"
)

// What is made in a folder that is its group's is the group's to write, whatever the
// umask; elsewhere the umask says who may. All three files of SQLite are there while
// the data is open.
func TestFilesAreForWhomTheirFolderIs(t *testing.T) {
	for _, c := range []struct {
		folder fs.FileMode
		umask  int
		want   fs.FileMode
	}{
		{0o770 | fs.ModeSetgid, 0o022, 0o660}, // a member imports
		{0o770 | fs.ModeSetgid, 0o007, 0o660}, // the packaged agent
		{0o770, 0o007, 0o660},
		{0o755, 0o022, 0o644},
		{0o700, 0o077, 0o600},
	} {
		dir := filepath.Join(t.TempDir(), "data")
		must(t, os.Mkdir(dir, 0o700))
		must(t, os.Chmod(dir, c.folder))
		was := syscall.Umask(c.umask)
		lock, err := LockAgent(dir)
		must(t, err)
		s, err := Open(dir, Options{})
		syscall.Umask(was)
		must(t, err)
		fill(t, s, "unit-oak", 1)
		for _, name := range []string{lockFile, FileName, FileName + "-wal", FileName + "-shm"} {
			info, err := os.Stat(filepath.Join(dir, name))
			must(t, err)
			if info.Mode() != c.want {
				t.Errorf("folder %v, umask %#o: %s has mode %v, want %v", c.folder, c.umask, name, info.Mode(), c.want)
			}
		}
		must(t, s.Close())
		must(t, lock.Release())
	}
}
