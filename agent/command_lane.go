package agent

import (
	"context"
	"sync/atomic"
	"time"

	"go.uber.org/zap"

	"sweepd/run"
)

// commandEvery is how often the command is asked in a run.
const commandEvery = time.Second

// commandState is what the user's command for the setting last came to.
type commandState struct {
	setting atomic.Pointer[run.SourcedSetting] // nil while it is not known
	failure atomic.Pointer[string]             // why it is not; nil where the command works
	asked   time.Duration                      // by a sweep; the sampling goroutine owns it
}

// commandDue tells a sweep in a run whether to have the command asked.
func (a *Agent) commandDue(now time.Duration) bool {
	if a.opts.ReadSetting == nil || now-a.command.asked < commandEvery {
		return false
	}
	a.command.asked = now
	return true
}

// commandLane asks the user's command for the setting, on a goroutine of its own:
// it may take as long as it wants, and no sensor waits for it.
func (a *Agent) commandLane(ctx context.Context) {
	for {
		select {
		case <-ctx.Done():
			return
		case r := <-a.commandRequests:
			a.askCommand(ctx)
			if r.done != nil {
				close(r.done)
			}
		}
	}
}

// askCommand asks once. A failure is said once until it is another or over.
func (a *Agent) askCommand(ctx context.Context) {
	if a.opts.ReadSetting == nil {
		return
	}
	s, err := a.opts.ReadSetting(ctx)
	if ctx.Err() != nil {
		return // the agent ends, or whoever asked is gone
	}
	before := a.command.failure.Load()
	if err != nil {
		text := err.Error()
		a.command.setting.Store(nil)
		a.command.failure.Store(&text)
		if before == nil || *before != text {
			a.log.Warn("the setting command failed; its setting is unknown until it works", zap.Error(err))
		}
		return
	}
	command := s.From(run.Command)
	a.command.setting.Store(&command)
	a.command.failure.Store(nil)
	if before != nil {
		a.log.Info("the setting command works again", zap.Stringer("setting", command))
	}
}
