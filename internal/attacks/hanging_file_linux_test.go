package attacks

import (
	"encoding/binary"
	"fmt"
	"os"
	"sync"
	"syscall"
	"testing"
)

// hangingFile is a file whose reads, once told to, do not come back: what a driver
// that waits for its device does to a file of sysfs. It is a file system of one file
// (FUSE), as include/uapi/linux/fuse.h of the kernel has it.
type hangingFile struct {
	text string
	dev  int

	mu    sync.Mutex
	hangs bool
	held  [][]byte // requests to read that wait
}

// newHangingFile puts such a file in the place of another. It is nil where this is
// not allowed: only root may mount, and not in every container.
func newHangingFile(t *testing.T, path, text string) *hangingFile {
	dev, err := syscall.Open("/dev/fuse", syscall.O_RDWR|syscall.O_CLOEXEC, 0)
	if err != nil {
		return nil
	}
	options := fmt.Sprintf("fd=%d,rootmode=100444,user_id=%d,group_id=%d,allow_other", dev, os.Getuid(), os.Getgid())
	if err := syscall.Mount("hanging", path, "fuse.hanging", syscall.MS_NOSUID|syscall.MS_NODEV, options); err != nil {
		syscall.Close(dev)
		return nil
	}
	f := &hangingFile{text: text, dev: dev}
	served := make(chan struct{})
	go func() { defer close(served); f.serve() }()
	t.Cleanup(func() {
		f.free()
		syscall.Unmount(path, syscall.MNT_DETACH)
		<-served
		syscall.Close(dev)
	})
	return f
}

// The requests that are answered, by their number.
const (
	fuseForget, fuseGetattr, fuseOpen, fuseRead, fuseRelease, fuseFlush, fuseInit, fuseInterrupt = 2, 3, 14, 15, 18, 25, 26, 36
)

func (f *hangingFile) serve() {
	for {
		request := make([]byte, 256<<10)
		n, err := syscall.Read(f.dev, request)
		if err == syscall.EINTR || err == syscall.ENOENT {
			continue
		}
		if err != nil || n < 40 { // the file was taken away
			return
		}
		f.answer(request[:n])
	}
}

func (f *hangingFile) answer(request []byte) {
	u32, u64 := binary.NativeEndian.PutUint32, binary.NativeEndian.PutUint64
	switch binary.NativeEndian.Uint32(request[4:]) {
	case fuseForget, fuseInterrupt:
	case fuseInit:
		out := make([]byte, 64)
		u32(out, 7)
		u32(out[4:], 31)
		u32(out[20:], 4096) // max_write
		f.reply(request, 0, out)
	case fuseGetattr:
		out := make([]byte, 104)
		u64(out[16:], 1)                     // ino
		u64(out[24:], 4096)                  // size
		u32(out[76:], syscall.S_IFREG|0o444) // mode
		u32(out[80:], 1)                     // nlink
		f.reply(request, 0, out)
	case fuseOpen:
		out := make([]byte, 16)
		u32(out[8:], 1) // FOPEN_DIRECT_IO: every read comes here
		f.reply(request, 0, out)
	case fuseRead:
		f.mu.Lock()
		hangs := f.hangs
		if hangs {
			f.held = append(f.held, request)
		}
		f.mu.Unlock()
		if !hangs {
			f.reply(request, 0, []byte(f.text))
		}
	case fuseFlush, fuseRelease:
		f.reply(request, 0, nil)
	default:
		f.reply(request, -int32(syscall.ENOSYS), nil)
	}
}

func (f *hangingFile) reply(request []byte, code int32, out []byte) {
	answer := make([]byte, 16, 16+len(out))
	answer = append(answer, out...)
	binary.NativeEndian.PutUint32(answer, uint32(len(answer)))
	binary.NativeEndian.PutUint32(answer[4:], uint32(code))
	copy(answer[8:16], request[8:16])
	syscall.Write(f.dev, answer)
}

// hang has the reads from now on not come back.
func (f *hangingFile) hang() {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.hangs = true
}

// held tells how many reads wait.
func (f *hangingFile) waiting() int {
	f.mu.Lock()
	defer f.mu.Unlock()
	return len(f.held)
}

// free lets them come back.
func (f *hangingFile) free() {
	f.mu.Lock()
	held := f.held
	f.hangs, f.held = false, nil
	f.mu.Unlock()
	for _, request := range held {
		f.reply(request, 0, []byte(f.text))
	}
}
