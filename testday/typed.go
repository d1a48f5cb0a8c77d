package testday

import (
	"context"
	"maps"
	"time"

	"sweepd/run"
	"sweepd/store"
)

// How long after the run before what was typed with it still holds: a room cools down over
// night, and a program that is updated is so between days. Common practice, no source.
const (
	roomHolds    = 4 * time.Hour
	versionHolds = 24 * time.Hour // since the last run of the workload
)

// TakeBack is what a person types to take back what was typed before.
const TakeBack = "none"

// ParseTyped reads conditions as they are typed: the temperature of the room ("23C", "73F"),
// the refresh rate of the display ("120Hz") and the version of the workload. TakeBack takes
// one back, an empty text says nothing of it.
func ParseTyped(room, refresh, version string) (run.Typed, error) {
	typed := run.Typed{}
	read := func(key, text string, parse func(string) (string, error)) error {
		if text == "" {
			return nil
		}
		if text == TakeBack {
			typed[key] = ""
			return nil
		}
		value, err := parse(text)
		typed[key] = value
		return err
	}
	number := func(parse func(string) (float64, error)) func(string) (string, error) {
		return func(text string) (string, error) {
			v, err := parse(text)
			return run.TypedNumber(v), err
		}
	}
	if err := read(run.RoomTemperature, room, number(run.ParseRoom)); err != nil {
		return nil, requestError(err)
	}
	if err := read(run.DisplayRefresh, refresh, number(run.ParseRefresh)); err != nil {
		return nil, requestError(err)
	}
	err := read(run.WorkloadVersion, version, func(text string) (string, error) { return text, nil })
	if err == nil {
		err = typed.Check()
	}
	return typed, requestError(err)
}

// StartRun starts a run with what was typed for it, and with what was typed before and
// still holds.
func (l *Local) StartRun(ctx context.Context, s run.Start) (run.Run, error) {
	if err := s.Check(); err != nil {
		return run.Run{}, requestError(err)
	}
	if live := l.Live(); l.Store != nil {
		s.Typed = withHeld(ctx, l.Store, live.Current.Device, s, live.Now.Wall)
	}
	return l.Recorder.StartRun(ctx, s)
}

// withHeld are the conditions typed for a run and those that still hold from runs before.
// What the store does not tell is not known; that is no reason to start no run.
func withHeld(ctx context.Context, s store.Runs, device string, start run.Start, now time.Time) run.Typed {
	typed := run.Typed{}
	hold := func(from run.Record, key string) {
		if value := from.Facts[key]; value != "" {
			typed[key] = value
		}
	}
	last, err := s.LastOf(ctx, store.Filter{Device: device, Until: now})
	if err == nil && !endOf(&last.Run).Add(roomHolds).Before(now) {
		hold(last, run.RoomTemperature)
		hold(last, run.DisplayRefresh)
	}
	if err == nil && last.Workload != start.Workload {
		last, err = s.LastOf(ctx, store.Filter{Device: device, Workload: start.Workload, Until: now})
	}
	if err == nil && !endOf(&last.Run).Add(versionHolds).Before(now) {
		hold(last, run.WorkloadVersion)
	}
	maps.Copy(typed, start.Typed)
	return typed
}

func endOf(r *run.Run) time.Time {
	return r.StartedAt.Add(time.Duration(r.Seconds() * float64(time.Second)))
}

// typedFacts are the facts of a run that a person types.
func typedFacts(facts map[string]string) map[string]string {
	typed := map[string]string{}
	for _, key := range []string{run.RoomTemperature, run.DisplayRefresh, run.WorkloadVersion} {
		if value := facts[key]; value != "" {
			typed[key] = value
		}
	}
	return typed
}
