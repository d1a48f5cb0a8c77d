package collectors

import (
	"errors"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"golang.org/x/sys/unix"
)

// Descriptors are left to the rest of the program, and none is lost by trying.
func TestSensorsLeaveDescriptorsOver(t *testing.T) {
	var l unix.Rlimit
	if err := unix.Getrlimit(unix.RLIMIT_NOFILE, &l); err != nil {
		t.Fatal(err)
	}
	if l.Cur != l.Max && l.Max < 1<<20 { // getrlimit(2); Go's package os raises it, where the kernel lets it
		t.Errorf("the soft limit is %d, the hard one %d", l.Cur, l.Max)
	}
	if got := uint64(sensorDescriptors()); got != l.Cur-min(256, l.Cur/2) && l.Cur < 1<<30 {
		t.Errorf("sensors may have descriptors below %d of %d", got, l.Cur)
	}
	path := filepath.Join(t.TempDir(), "value")
	rewrite(t, path, "1")
	var free [2]int // the lowest
	for i := range free {
		fd, err := unix.Open(path, unix.O_RDONLY|unix.O_CLOEXEC, 0)
		if err != nil {
			t.Fatal(err)
		}
		free[i] = fd
	}
	for _, fd := range free {
		if err := unix.Close(fd); err != nil {
			t.Fatal(err)
		}
	}
	before := sensorDescriptors
	defer func() { sensorDescriptors = before }()
	sensorDescriptors = func() int { return free[1] + 1 }
	var open []*sysFile
	for range 10 {
		f, err := openSysFile(path)
		if err == nil {
			open = append(open, f)
		} else if !errors.Is(err, syscall.EMFILE) || !strings.Contains(err.Error(), "no descriptor is left for it") {
			t.Errorf("%v", err)
		}
	}
	if len(open) != 2 {
		t.Errorf("%d files are open, want 2 and the rest refused", len(open))
	}
	for _, f := range open {
		if err := f.Close(); err != nil {
			t.Error(err)
		}
	}
}
