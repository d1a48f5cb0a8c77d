package agent

import (
	"time"
	"unsafe"

	"golang.org/x/sys/windows"

	"sweepd/run"
)

// SystemClock reads the machine's clocks.
type SystemClock struct{}

var (
	started        = time.Now()
	asleep         slept
	unbiasedTime   = windows.NewLazySystemDLL("kernel32.dll").NewProc("QueryUnbiasedInterruptTime")
	unbiasedTimeOK = unbiasedTime.Find() == nil
)

// Now reads the clocks. Go's own is the interrupt time of KUSER_SHARED_DATA
// (runtime/time_windows.h), which goes on while the machine sleeps, as does
// GetTickCount64; QueryUnbiasedInterruptTime stands still (Microsoft Learn, Windows
// Time and Interrupt Time). What the last two differ by is what the machine slept.
func (SystemClock) Now() run.Instant {
	now := time.Now()
	elapsed := now.Sub(started)
	i := run.Instant{Wall: now, Mono: elapsed, Boot: elapsed}
	if unbiasedTimeOK {
		var ticks uint64 // of 100 ns
		if ok, _, _ := unbiasedTime.Call(uintptr(unsafe.Pointer(&ticks))); ok != 0 {
			i.Mono = asleep.awake(elapsed, windows.DurationSinceBoot()-time.Duration(ticks)*100)
		}
	}
	return i
}
