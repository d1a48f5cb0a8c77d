package main

import (
	"context"
	"errors"
	"time"

	"go.uber.org/zap"

	"sweepd/actuators"
)

// restoreFirst puts back what an agent before this one set and could not put back itself,
// before this one does anything else. Nothing of it keeps the agent from watching.
func (a *app) restoreFirst(ctx context.Context, dir string, log *zap.Logger) {
	r, err := a.restoreIn(ctx, dir, false)
	for _, w := range r.Restored {
		log.Warn("an agent before this one had set something and did not put it back; it has its first value again", zap.String("place", w.Place()), zap.String("value", w.Was))
	}
	var elsewhere *actuators.SetElsewhereError
	for _, x := range r.Left {
		if x.text != "" {
			log.Error("what an agent before this one set is NOT put back: " + x.text)
		}
	}
	switch {
	case errors.As(err, &elsewhere):
		log.Warn("what an agent before this one set is not put back yet", zap.Error(err))
	case err != nil && len(r.Left) == 0:
		log.Error("what an agent before this one set is NOT put back", zap.Error(err))
	}
}

// restoreLeft tries again, now and then, to put back what an earlier agent left, until that
// is done or ctx ends. Nothing is set on top of it meanwhile (actuators.ErrNotKept).
func restoreLeft(ctx context.Context, first *actuators.FirstValues, m actuators.Machine, log *zap.Logger) {
	const least, most = 5 * time.Second, 5 * time.Minute
	said := ""
	for pause := least; first.Earlier(); pause = min(2*pause, most) {
		select {
		case <-ctx.Done():
			return
		case <-time.After(pause):
		}
		if !first.Earlier() {
			return
		}
		back, err := first.Restore(ctx, m)
		for _, w := range back {
			log.Warn("it has its first value again", zap.String("place", w.Place()), zap.String("value", w.Was))
		}
		if err != nil && err.Error() != said {
			said = err.Error()
			log.Error("what an agent before this one set is still NOT put back", zap.Error(err))
		}
	}
}
