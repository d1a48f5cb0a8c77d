package agent

import (
	"errors"
	"fmt"
	"os"
	"time"

	"golang.org/x/sys/unix"
)

// timerPacer paces with a timerfd read through the runtime's poller: one
// wake-up a tick, where time.Ticker costs two.
type timerPacer struct {
	file *os.File
	fd   int
	buf  [8]byte
}

func newPacer() (pacer, error) {
	fd, err := unix.TimerfdCreate(unix.CLOCK_MONOTONIC, unix.TFD_NONBLOCK|unix.TFD_CLOEXEC)
	if err != nil {
		return nil, fmt.Errorf("create the sampling timer (timerfd): %w", err)
	}
	return &timerPacer{file: os.NewFile(uintptr(fd), "timerfd"), fd: fd}, nil
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
	_, err := p.file.Read(p.buf[:])
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
