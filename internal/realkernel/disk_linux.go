package realkernel

import (
	"os"
	"path/filepath"
	"testing"
)

// NewDisk makes a disk for Options.Disks with an empty file system: ext4 as Debian's
// mke2fs makes it, journal and all. `modprobe crc32c_generic; modprobe ext4; mount
// /dev/vda DIR` mounts it. It is gone when the test ends.
func NewDisk(t testing.TB) string {
	t.Helper()
	requireHost(t)
	disk := filepath.Join(t.TempDir(), "disk")
	if err := os.WriteFile(disk, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.Truncate(disk, 64<<20); err != nil {
		t.Fatal(err)
	}
	if _, err := command(t.Context(), filepath.Dir(disk), "mke2fs", "-q", "-F", "-t", "ext4", disk); err != nil {
		t.Fatalf("realkernel: %v", err)
	}
	return disk
}
