// Package alarm rings after a time unless it is put off, which it usually is. A timer of
// Go's costs wake-ups even then: where it is set again before its time, or stopped, the
// runtime still looks when the first time comes, with two threads and some ten wake-ups
// (seen with strace under Go 1.26). An alarm costs none until it rings.
package alarm

import "time"

// Alarm rings once after it was set, later calls of Set and Off taking the place of
// earlier ones. A ring may still arrive that was under way when it was put off. Close it
// in the end; one goroutine at a time may set it.
type Alarm struct {
	rang chan struct{}
	timer
}

// New returns an alarm that is off.
func New() *Alarm {
	a := &Alarm{rang: make(chan struct{}, 1)}
	a.start()
	return a
}

// Rang gets a value when the alarm rings.
func (a *Alarm) Rang() <-chan struct{} { return a.rang }

// Set has the alarm ring after a time above 0. A ring that nobody took is forgotten.
func (a *Alarm) Set(after time.Duration) {
	select {
	case <-a.rang:
	default:
	}
	a.set(after)
}

// Off puts the alarm off.
func (a *Alarm) Off() { a.set(0) }

func (a *Alarm) ring() {
	select {
	case a.rang <- struct{}{}:
	default:
	}
}
