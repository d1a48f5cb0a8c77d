package main

import (
	"context"
	"time"

	"github.com/coreos/go-systemd/v22/daemon"
	"go.uber.org/zap"
)

// supervision tells the service manager how the agent fares: ready once the
// sampling loop answers, alive as long as it goes on to, stopping, in the words of
// sd_notify(3). Without a manager that listens (NOTIFY_SOCKET) it says nothing.
type supervision struct {
	tell  func(state string) error
	every time.Duration // the manager's patience (sd_watchdog_enabled(3)); 0: it has no watchdog
	alive func(context.Context) error
	log   *zap.Logger
}

// newSupervision tells by sd_notify(3) unless it is given another way.
func newSupervision(tell func(state string) error, alive func(context.Context) error, log *zap.Logger) *supervision {
	if tell == nil {
		tell = func(state string) error {
			_, err := daemon.SdNotify(false, state)
			return err
		}
	}
	s := &supervision{tell: tell, alive: alive, log: log}
	var err error
	if s.every, err = daemon.SdWatchdogEnabled(false); err != nil {
		log.Warn("the service manager's watchdog is not fed", zap.Error(err))
	}
	return s
}

// run goes on until ctx ends. As the manual advises, the watchdog is fed after
// half of its time, if the loop answered within a quarter of it: two wake-ups
// each time. A loop that does not answer gets nothing, and the manager restarts
// the agent, which keeps what was recorded as interrupted.
func (s *supervision) run(ctx context.Context) {
	if s.alive(ctx) != nil { // only when the agent ends before it began
		return
	}
	s.say(daemon.SdNotifyReady)
	if s.every <= 0 {
		return
	}
	timer := time.NewTicker(s.every / 2)
	defer timer.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-timer.C:
			s.feed(ctx)
		}
	}
}

func (s *supervision) feed(ctx context.Context) {
	asking, cancel := context.WithTimeout(ctx, s.every/4)
	defer cancel()
	if err := s.alive(asking); err != nil {
		if ctx.Err() == nil {
			s.log.Error("the sampling does not answer; the service manager will restart the agent if this lasts", zap.Error(err))
		}
		return
	}
	s.say(daemon.SdNotifyWatchdog)
}

// stopping tells that the agent stops on purpose.
func (s *supervision) stopping() { s.say(daemon.SdNotifyStopping) }

func (s *supervision) say(state string) {
	if err := s.tell(state); err != nil {
		s.log.Warn("the service manager could not be told "+state, zap.Error(err))
	}
}
