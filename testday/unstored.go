package testday

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"

	"sweepd/run"
	"sweepd/store"
)

// WithUnstored gives a store's runs as they have ended where the store could not be told
// so far. unstored gives those; it is asked only where that may matter.
func WithUnstored(s store.Runs, unstored func(context.Context) []run.Record) store.Runs {
	return &runsWithUnstored{s, unstored}
}

type runsWithUnstored struct {
	stored
	unstored func(context.Context) []run.Record
}

// stored is store.Runs under a name that its method Runs does not have.
type stored = store.Runs

func (s *runsWithUnstored) Runs(ctx context.Context, f store.Filter) ([]run.Run, error) {
	runs, err := s.stored.Runs(ctx, f)
	if !slices.ContainsFunc(runs, func(r run.Run) bool { return r.State == run.Recording }) {
		return runs, err
	}
	// The store is read again, since a run may have been stored before it was asked for.
	ended := s.unstored(ctx)
	runs, err = s.stored.Runs(ctx, f)
	for i := range runs {
		runs[i] = AsEnded(run.Record{Run: runs[i]}, ended).Run
	}
	return runs, err
}

// AsEnded is a run that a store gives, as it ended if it is one of those that the store
// could not be told of, with the results that the store was given in whatever way.
func AsEnded(stored run.Record, unstored []run.Record) run.Record {
	at := indexOf(unstored, stored.ID)
	if at < 0 || stored.State != run.Recording {
		return stored
	}
	d := unstored[at]
	d.Results = map[string]run.Result{}
	maps.Copy(d.Results, unstored[at].Results)
	maps.Copy(d.Results, stored.Results)
	return d
}

func indexOf(list []run.Record, id string) int {
	return slices.IndexFunc(list, func(d run.Record) bool { return d.ID == id })
}

// Run also finds a run where the store cannot be read.
func (s *runsWithUnstored) Run(ctx context.Context, id string) (run.Record, error) {
	d, err := s.stored.Run(ctx, id)
	if err == nil && d.State != run.Recording || errors.Is(err, store.ErrAmbiguous) {
		return d, err
	}
	ended := s.unstored(ctx)
	if err == nil { // read again, see Runs
		d, err = s.stored.Run(ctx, d.ID)
		return AsEnded(d, ended), err
	}
	if at := named(ended, id); at >= 0 {
		return ended[at], nil
	}
	return d, err
}

// FindRun also finds a run where the store cannot be read.
func (s *runsWithUnstored) FindRun(ctx context.Context, id string) (string, error) {
	full, err := s.stored.FindRun(ctx, id)
	if err == nil || errors.Is(err, store.ErrAmbiguous) {
		return full, err
	}
	if ended := s.unstored(ctx); len(ended) > 0 {
		if at := named(ended, id); at >= 0 {
			return ended[at].ID, nil
		}
	}
	return full, err
}

// named is the run that a part of an id names, the last of several; -1 for none.
func named(list []run.Record, id string) int {
	for i := len(list) - 1; i >= 0; i-- {
		if strings.EqualFold(id, store.Last) || id == list[i].ID || run.NamedBy(list[i].ID, id) {
			return i
		}
	}
	return -1
}

// CorrectionsWithUnstored also corrects runs that have ended and that the store could not
// be told of so far: the agent keeps what is corrected with them, and the error is a
// *run.NotStoredError.
func CorrectionsWithUnstored(s Corrections, a Recorder) Corrections {
	return &correctionsWithUnstored{
		stored:   WithUnstored(s, func(context.Context) []run.Record { return a.Live().Unstored }),
		analysed: s, Corrector: s, Readings: s, agent: a,
	}
}

// analysed is store.AnalysisRuns, whose name is that of its method.
type analysed interface{ store.AnalysisRuns }

type correctionsWithUnstored struct {
	stored
	analysed
	store.Corrector
	store.Readings
	agent Recorder
}

func (s *correctionsWithUnstored) Correct(ctx context.Context, id string, c run.Correction) (run.Record, error) {
	ended := s.agent.Live().Unstored
	at := indexOf(ended, id)
	if at < 0 {
		return s.Corrector.Correct(ctx, id, c)
	}
	switch {
	case c.Decision == run.Keep && ended[at].State != run.Rejected && ended[at].State != run.Interrupted:
		return run.Record{}, store.ErrNotRejected
	case c.Decision == run.Unkeep:
		return run.Record{}, fmt.Errorf("run %s is not stored yet: undo it when it is", run.ShortID(id))
	}
	found, err := s.agent.CorrectUnstored(id, c)
	if !found && err == nil { // it was stored just now
		return s.Corrector.Correct(ctx, id, c)
	}
	var kept *run.NotStoredError
	if errors.As(err, &kept) {
		return kept.Run, err
	}
	return run.Record{}, err
}

// StoreWithUnstored is a store whose runs are as WithUnstored gives them and are
// corrected as CorrectionsWithUnstored does.
func StoreWithUnstored(s store.Store, a Recorder) store.Store {
	return &storeWithUnstored{s, CorrectionsWithUnstored(s, a)}
}

type storeWithUnstored struct {
	store.Store
	with Corrections
}

func (s *storeWithUnstored) Runs(ctx context.Context, f store.Filter) ([]run.Run, error) {
	return s.with.Runs(ctx, f)
}

func (s *storeWithUnstored) Run(ctx context.Context, id string) (run.Record, error) {
	return s.with.Run(ctx, id)
}

func (s *storeWithUnstored) FindRun(ctx context.Context, id string) (string, error) {
	return s.with.FindRun(ctx, id)
}

func (s *storeWithUnstored) Correct(ctx context.Context, id string, c run.Correction) (run.Record, error) {
	return s.with.Correct(ctx, id, c)
}
