package collectors

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"golang.org/x/sys/unix"
)

// What does a sweep cost beside the system calls that it cannot do without? Run
// as one:
//
//	go test -run '^$' -bench 'Sweep|Preads' -count 10 ./collectors
//
// "sysfs" reads a real file of the kernel, "files" the made tree's own.

// chipTree has one sensor chip with n powers, which are read at every sweep
// however rarely they change. They are links to source unless that is empty.
func chipTree(t testing.TB, n int, source string) Roots {
	files := map[string]string{"name": "sim_chip\n"}
	for i := range n {
		files[fmt.Sprintf("power%d_input", i+1)] = "43850\n"
	}
	roots := madeTree(t, with("sys/class/hwmon/hwmon0/", files))
	if source == "" {
		return roots
	}
	for i := range n {
		path := roots.sys("class", "hwmon", "hwmon0", fmt.Sprintf("power%d_input", i+1))
		if err := os.Remove(path); err != nil {
			t.Fatal(err)
		}
		if err := os.Symlink(source, path); err != nil {
			t.Fatal(err)
		}
	}
	return roots
}

// kernelFile is a number of the kernel's that can pass for microwatts: the size
// of packets on the loopback interface.
const kernelFile = "/sys/class/net/lo/mtu"

func benchTrees(b *testing.B, run func(b *testing.B, roots Roots, n int)) {
	for _, source := range []string{"files", "sysfs"} {
		for _, n := range []int{10, 40, 160} {
			b.Run(fmt.Sprintf("%s/%d", source, n), func(b *testing.B) {
				target := ""
				if source == "sysfs" {
					if target = kernelFile; !exists(target) {
						b.Skipf("there is no %s here", target)
					}
				}
				run(b, chipTree(b, n, target), n)
			})
		}
	}
}

func BenchmarkSweep(b *testing.B) {
	benchTrees(b, func(b *testing.B, roots Roots, n int) {
		s := NewSet(SetOptions{}, NewHwmon(roots))
		defer s.Close()
		if values := s.Sweep(0); len(values) != n || slices.ContainsFunc(values, func(v float64) bool { return v != v }) {
			b.Fatalf("values %v", values)
		}
		b.ReportAllocs()
		now := time.Duration(0)
		for b.Loop() {
			now += 100 * time.Millisecond
			s.Sweep(now)
		}
	})
}

func BenchmarkBarePreads(b *testing.B) {
	benchTrees(b, func(b *testing.B, roots Roots, n int) {
		var fds []int
		for i := range n {
			fd, err := unix.Open(filepath.Join(roots.sys("class", "hwmon", "hwmon0"), fmt.Sprintf("power%d_input", i+1)), unix.O_RDONLY|unix.O_CLOEXEC, 0)
			if err != nil {
				b.Fatal(err)
			}
			fds = append(fds, fd)
		}
		buf := make([]byte, textMax)
		b.ReportAllocs()
		for b.Loop() {
			for _, fd := range fds {
				if n, err := unix.Pread(fd, buf, 0); n == 0 || err != nil {
					b.Fatal(n, err)
				}
			}
		}
		for _, fd := range fds {
			if err := unix.Close(fd); err != nil {
				b.Fatal(err)
			}
		}
	})
}
