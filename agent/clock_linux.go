package agent

import (
	"time"
	"unsafe"

	"golang.org/x/sys/unix"

	"sweepd/run"
)

// SystemClock reads the machine's clocks.
type SystemClock struct{}

// Now reads the three clocks one after the other, within microseconds.
func (SystemClock) Now() run.Instant {
	return run.Instant{Wall: time.Now(), Mono: readClock(unix.CLOCK_MONOTONIC), Boot: readClock(unix.CLOCK_BOOTTIME)}
}

// readClock reads a clock that exists since Linux 2.6.39, so that it cannot
// fail. The raw call does not wake the runtime's monitor thread, as every other
// one does (see the sampling timer).
func readClock(id uintptr) time.Duration {
	var t unix.Timespec
	_, _, _ = unix.RawSyscall(unix.SYS_CLOCK_GETTIME, id, uintptr(unsafe.Pointer(&t)), 0)
	return time.Duration(t.Nano())
}
