package alarm

import (
	"os"
	"syscall"
	"time"
	"unsafe"

	"golang.org/x/sys/unix"
)

// timer is a timerfd that a goroutine waits for through the runtime's poller. It is set
// by raw system calls, which cannot block and do not wake the runtime's monitor thread.
// Where the system has no descriptor left it is a timer of Go's.
type timer struct {
	file  *os.File
	raw   syscall.RawConn
	spec  unix.ItimerSpec
	apply func(fd uintptr)
	goTimer
}

func (a *Alarm) start() {
	fd, err := unix.TimerfdCreate(unix.CLOCK_MONOTONIC, unix.TFD_NONBLOCK|unix.TFD_CLOEXEC)
	if err != nil {
		a.goTimer.start(a.ring)
		return
	}
	t := &a.timer
	t.file = os.NewFile(uintptr(fd), "timerfd")
	if t.raw, err = t.file.SyscallConn(); err != nil {
		_ = t.file.Close()
		t.file = nil
		a.goTimer.start(a.ring)
		return
	}
	t.apply = func(fd uintptr) {
		_, _, _ = syscall.RawSyscall6(syscall.SYS_TIMERFD_SETTIME, fd, 0, uintptr(unsafe.Pointer(&t.spec)), 0, 0, 0)
	}
	file := t.file
	go func() {
		var times [8]byte
		for {
			if _, err := file.Read(times[:]); err != nil {
				return // closed
			}
			a.ring()
		}
	}()
}

func (t *timer) set(after time.Duration) {
	if t.file == nil {
		t.goTimer.set(after)
		return
	}
	t.spec.Value = unix.NsecToTimespec(int64(after))
	_ = t.raw.Control(t.apply) // it fails once closed
}

// Close ends the alarm.
func (t *timer) Close() {
	if t.file != nil {
		_ = t.file.Close()
		return
	}
	t.goTimer.set(0)
}
