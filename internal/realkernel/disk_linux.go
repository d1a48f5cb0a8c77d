package realkernel

import (
	"os"
	"path/filepath"
	"testing"
)

// NewDisk makes a disk for Options.Disks: ext4 as Debian's mke2fs makes it, journal and
// all, with what lies in the folder from; empty where that is "". `modprobe crc32c_generic;
// modprobe ext4; mount /dev/vda DIR` mounts it. It is gone when the test ends.
func NewDisk(t testing.TB, from string) string {
	t.Helper()
	requireHost(t)
	disk := filepath.Join(t.TempDir(), "disk")
	if err := os.WriteFile(disk, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	args, size := []string{"-q", "-F", "-t", "ext4"}, int64(64<<20)
	if from != "" {
		args, size = append(args, "-d", from), 768<<20 // sparse
	}
	if err := os.Truncate(disk, size); err != nil {
		t.Fatal(err)
	}
	if _, err := command(t.Context(), filepath.Dir(disk), "mke2fs", append(args, disk)...); err != nil {
		t.Fatalf("realkernel: %v", err)
	}
	return disk
}
