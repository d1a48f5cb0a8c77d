package collectors

// quickProbe is a probe whose reads may bypass Go's scheduler. Go treats every
// system call as one that may block and wakes its monitor thread for it, which
// costs more wake-ups than the sampling itself; a file that was measured to
// answer at once does not need that. While such a read lasts, nothing else of
// the process runs where it has one processor, so only the fast lane is quick.
type quickProbe interface {
	setQuick(on bool)
}

// setQuick tells the entry's probe which lane it is in.
func (e *entry) setQuick(on bool) {
	if q, ok := e.probe.(quickProbe); ok {
		q.setQuick(on)
	}
}
