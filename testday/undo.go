package testday

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"sweepd/judge"
	"sweepd/run"
	"sweepd/store"
)

// UndoRequest is what a person says when taking a correction back.
type UndoRequest struct {
	// Correction is any part of the id that only one correction has; "" is the last one
	// that stands and takes none back.
	Correction string `json:"correction"`
	Why        string `json:"why"`
	Who        string `json:"who"`
	DryRun     bool   `json:"dry_run"`
}

// UndoCorrection takes a correction of runs back.
var UndoCorrection = &Operation[UndoRequest, CorrectAnswer]{
	About{Method: "POST", Path: "/corrections/undo", Summary: "Takes a correction of runs back, as a whole.", Needs: NeedsRight, Opens: OpensToWrite},
	func(ctx context.Context, d *Day, q UndoRequest) (CorrectAnswer, error) {
		a, err := Undo(ctx, d.Store, q, d.Thresholds, d.Now)
		return a, d.publishCorrected(ctx, a, err)
	},
}

// ListCorrections lists what was corrected together.
var ListCorrections = &Operation[struct{}, []store.Batch]{
	About{Method: "GET", Path: "/corrections", Summary: "Lists corrections of runs, the oldest first."},
	func(ctx context.Context, d *Day, _ struct{}) ([]store.Batch, error) { return d.Store.Batches(ctx) },
}

// ErrNoCorrection is returned where a correction is named that there is not.
var ErrNoCorrection = errors.New("there is no such correction: `sweepd run history` lists them")

// Undo takes a correction of runs back as a whole: what it changed is again what it was.
// Taking that back does it again.
func Undo(ctx context.Context, s CorrectableRuns, q UndoRequest, th judge.Thresholds, now time.Time) (a CorrectAnswer, err error) {
	batches, err := s.Batches(ctx)
	if err != nil {
		return a, err
	}
	undone, err := correctionNamed(batches, q.Correction)
	if err != nil {
		return a, err
	}
	b := batch{store: s, thresholds: th, why: q.Why, who: q.Who, undoes: undone.ID, at: now}
	for _, id := range undone.Runs {
		d, err := s.Run(ctx, id)
		if err != nil {
			return a, err
		}
		h, err := s.History(ctx, d.ID)
		if err != nil {
			return a, err
		}
		var back []run.Change
		for _, c := range h.Corrections {
			if c.Batch == undone.ID {
				back = append(back, c.Back())
			}
		}
		for _, c := range back {
			if c.Of(&d.Run) != c.Old {
				return a, fmt.Errorf("run %s: its %s was corrected again since: take that back first (`sweepd run history %[1]s`)", run.ShortID(d.ID), c.Thing())
			}
		}
		if err := b.add(ctx, d, back); err != nil {
			return a, err
		}
	}
	return b.done(ctx, q.DryRun)
}

// correctionNamed is the correction that is to be taken back.
func correctionNamed(batches []store.Batch, id string) (b store.Batch, err error) {
	if id == "" {
		for _, b := range slices.Backward(batches) {
			if b.Undone == "" && b.Undoes == "" {
				return b, nil
			}
		}
		return b, errors.New("no correction is left to be taken back: `sweepd run history` lists all")
	}
	var found []store.Batch
	for _, b := range batches {
		if strings.Contains(strings.ToLower(b.ID), strings.ToLower(id)) || b.ID == id {
			found = append(found, b)
		}
	}
	switch {
	case len(found) == 0:
		return b, fmt.Errorf("correction %q: %w", run.Shorten(id), ErrNoCorrection)
	case len(found) > 1:
		return b, fmt.Errorf("correction %q fits %d corrections: give more letters", run.Shorten(id), len(found))
	case found[0].Undone != "":
		return b, fmt.Errorf("correction %s was taken back already, by %s: take that back to have it again", run.ShortID(found[0].ID), run.ShortID(found[0].Undone))
	}
	return found[0], nil
}
