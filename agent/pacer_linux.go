package agent

import (
	"errors"
	"fmt"
	"os"
	"syscall"
	"time"
	"unsafe"

	"golang.org/x/sys/unix"
)

// timerPacer paces with a timerfd read through the runtime's poller: one
// wake-up a tick, where time.Ticker costs two. It reads by raw system call,
// since an ordinary one also wakes the runtime's monitor thread; the timer is
// non-blocking, so that the call returns at once.
type timerPacer struct {
	file  *os.File
	raw   syscall.RawConn
	fd    int
	buf   [8]byte
	errno syscall.Errno
	read  func(fd uintptr) bool
}

func newPacer() (pacer, error) {
	fd, err := unix.TimerfdCreate(unix.CLOCK_MONOTONIC, unix.TFD_NONBLOCK|unix.TFD_CLOEXEC)
	if err != nil {
		return nil, fmt.Errorf("create the sampling timer (timerfd): %w", err)
	}
	p := &timerPacer{file: os.NewFile(uintptr(fd), "timerfd"), fd: fd}
	if p.raw, err = p.file.SyscallConn(); err != nil {
		return nil, errors.Join(fmt.Errorf("read the sampling timer: %w", err), p.file.Close())
	}
	p.read = p.readOnce
	return p, nil
}

// readOnce reports whether there was anything to read.
func (p *timerPacer) readOnce(fd uintptr) bool {
	_, _, p.errno = syscall.RawSyscall(syscall.SYS_READ, fd, uintptr(unsafe.Pointer(&p.buf)), uintptr(len(p.buf)))
	return p.errno != syscall.EAGAIN && p.errno != syscall.EINTR
}

func (p *timerPacer) Arm(interval time.Duration) error {
	t := unix.NsecToTimespec(int64(interval))
	err := unix.TimerfdSettime(p.fd, 0, &unix.ItimerSpec{Interval: t, Value: t}, nil)
	if err != nil {
		return fmt.Errorf("set the sampling timer to %v: %w", interval, err)
	}
	return nil
}

func (p *timerPacer) Wait() (bool, error) {
	err := p.raw.Read(p.read)
	if err == nil && p.errno != 0 {
		err = p.errno
	}
	if errors.Is(err, os.ErrDeadlineExceeded) {
		return false, p.file.SetReadDeadline(time.Time{})
	}
	if err != nil {
		return false, fmt.Errorf("wait for the sampling timer: %w", err)
	}
	return true, nil
}

// Wake uses a deadline in the past: the poller then returns from Read.
func (p *timerPacer) Wake() { _ = p.file.SetReadDeadline(time.Unix(1, 0)) }

func (p *timerPacer) Close() error { return p.file.Close() }
