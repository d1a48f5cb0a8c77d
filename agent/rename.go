package agent

import (
	"context"

	"go.uber.org/zap"

	"sweepd/run"
)

// device is the name of the device that is watched.
func (a *Agent) device() string { return *a.name.Load() }

// Rename has the agent record by another name from now on, if it does so by the first one
// now; false where not. It fails while a run is recording.
func (a *Agent) Rename(ctx context.Context, from, to string) (renamed bool, err error) {
	if err := run.CheckLabel("device name", to); err != nil {
		return false, err
	}
	a.declaring.Lock()
	defer a.declaring.Unlock()
	var declared run.Declaration
	err = a.do(ctx, func() error {
		switch {
		case a.device() != from:
			return nil
		case a.run != nil:
			return run.ErrRecording
		}
		a.name.Store(&to)
		a.mu.Lock()
		a.labels.Device = to
		a.shared.labels = a.labels
		a.shared.ledger.under(a.labels, "", a.last.Mono)
		a.mu.Unlock()
		declared, renamed = a.declared, true
		return a.sweep(a.opts.Clock.Now(), sweepIdle)
	})
	if renamed {
		a.log.Info("the device was renamed", zap.String("from", from), zap.String("to", to))
		a.keepDeclaration(ctx, declared)
	}
	return renamed, err
}
