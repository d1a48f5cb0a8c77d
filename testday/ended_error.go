package testday

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"sweepd/run"
)

// Unusable is what cannot be used of what was given with a stop. It keeps no run from
// ending.
type Unusable struct {
	// Why says of each thing what is wrong with it.
	Why []string `json:"why"`
	// Missing is what the run lacks for it, as `sweepd run result RUN` takes it.
	Missing []string `json:"missing"`
}

// Add notes one thing; missing may be empty.
func (u *Unusable) Add(missing string, why error) {
	u.Why = append(u.Why, why.Error())
	if missing != "" && !slices.Contains(u.Missing, missing) {
		u.Missing = append(u.Missing, missing)
	}
}

// after is what a stop led to that was given, beside what is unusable, what could be used.
func (u Unusable) after(d run.Record, err error) (run.Record, error) {
	var ended *EndedError
	var kept *run.NotStoredError
	switch why := strings.Join(u.Why, "; "); {
	case len(u.Why) == 0:
		return d, err
	case err == nil:
		return d, &EndedError{Run: complete(d), Unusable: u}
	case errors.As(err, &ended):
		ended.Why, ended.Missing = slices.Concat(u.Why, ended.Why), slices.Concat(u.Missing, ended.Missing)
		return d, ended
	case errors.As(err, &kept):
		return d, fmt.Errorf("%w; %s", err, (&EndedError{Run: kept.Run, Unusable: u}).Error())
	default:
		return d, requestError(fmt.Errorf("%s; no run was stopped: %w", why, err))
	}
}

// EndedError is returned where a run has ended, as it should, and what was given with the
// stop could not be used, or not all of it. The run is kept with what could.
type EndedError struct {
	Run run.Record
	Unusable
}

func (e *EndedError) Error() string {
	id := run.ShortID(e.Run.ID)
	at := endedAt(e.Run.Run)
	missing := e.Missing
	switch {
	case len(missing) == 0 && len(e.Run.Results) == 0:
		missing = []string{"NAME=VALUE"}
	case len(missing) == 0:
		return fmt.Sprintf("run %s ended at %s, with its results: %s", id, at, strings.Join(e.Why, "; "))
	}
	return fmt.Sprintf("run %s ended at %s; give the result with `sweepd run result %s %s`: %s", id, at, id, strings.Join(missing, " "), strings.Join(e.Why, "; "))
}

// endedAt is the time of day at which a run ended, as the clock on the wall shows it.
func endedAt(r run.Run) string {
	return endOf(&r).Local().Format(time.TimeOnly)
}

// AlreadyEndedError is returned where a run was to be stopped only if it was recording, and
// had ended.
type AlreadyEndedError struct {
	Run   run.Record
	Since time.Duration // its end
	By    string        // what stopped it; "" unknown
}

func (e *AlreadyEndedError) Error() string {
	by := ""
	if e.By != "" {
		by = " by " + e.By
	}
	return fmt.Sprintf("%s was stopped already, %s%s: nothing was stopped now", runSaid(e.Run.Labels), agoSaid(e.Since), by)
}

func (e *AlreadyEndedError) Unwrap() error { return run.ErrEnded }
