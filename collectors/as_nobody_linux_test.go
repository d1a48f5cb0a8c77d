package collectors

import (
	"os"
	"path/filepath"
	"syscall"
	"testing"
)

// asNobody runs f with the file rights of a user who owns nothing, where the
// tests run as root; as anybody else f runs as it is. The rights hold for the
// whole process, since a Set opens on goroutines of its own.
func asNobody(t *testing.T, roots Roots, f func()) {
	t.Helper()
	const nobody = 65534
	if os.Getuid() == 0 {
		// The temporary folders of testing are closed to others.
		for dir := filepath.Dir(roots.Sys); dir != os.TempDir() && dir != "/"; dir = filepath.Dir(dir) {
			if err := os.Chmod(dir, 0o755); err != nil {
				t.Fatal(err)
			}
		}
		if err := syscall.Seteuid(nobody); err != nil {
			t.Fatal(err)
		}
		defer func() {
			if err := syscall.Seteuid(0); err != nil {
				panic(err) // the tests would go on as somebody else
			}
		}()
	}
	f()
}
