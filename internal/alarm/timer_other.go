//go:build !linux

package alarm

type timer struct{ goTimer }

func (a *Alarm) start() { a.goTimer.start(a.ring) }

// Close ends the alarm.
func (t *timer) Close() { t.set(0) }
