package agent

import (
	"context"

	"go.uber.org/zap"

	"sweepd/run"
)

// Declare makes a setting the active one until the next declaration, also across restarts
// of the agent and the machine. The zero Setting takes the declaration back. by is what
// declares it. Where it cannot be stored, nothing changes.
func (a *Agent) Declare(ctx context.Context, s run.Setting, by string) error {
	if err := a.opts.Recorder.CheckPlace(ctx); err != nil {
		return err
	}
	a.declaring.Lock()
	defer a.declaring.Unlock()
	d := a.declaration(s, by)
	if err := a.opts.Recorder.KeepDeclaration(ctx, a.device(), d); err != nil {
		return err
	}
	a.refresh(ctx) // what the system reports was perhaps set a moment ago
	return a.do(ctx, func() error {
		a.declared = d
		return a.sweep(a.opts.Clock.Now(), sweepLabels)
	})
}

// declaration is one made now.
func (a *Agent) declaration(s run.Setting, by string) run.Declaration {
	if !s.Known() {
		return run.Declaration{}
	}
	return run.Declaration{Setting: s, At: run.Stamp(a.opts.Clock.Now().Wall), By: by}
}

// keepDeclaration stores what a run declared. The run goes on where that fails.
func (a *Agent) keepDeclaration(ctx context.Context, d run.Declaration) {
	if !d.Setting.Known() {
		return
	}
	if err := a.opts.Recorder.KeepDeclaration(ctx, a.device(), d); err != nil {
		a.log.Error("the declared setting could not be stored: it holds until the agent ends", zap.String("setting", d.Setting.String()), zap.Error(err))
	}
}
