package testday

import (
	"context"
	"errors"
	"fmt"
	"os"
	"slices"
	"time"

	"sweepd/judge"
	"sweepd/run"
	"sweepd/store"
)

// RenameRequest is what a person says when giving a device another name.
type RenameRequest struct {
	Old string `json:"old"`
	New string `json:"new"`
	// Into says that New is the same device, whatever the facts of their runs say.
	Into   bool `json:"into"`
	Undo   bool `json:"undo"` // take the last renaming of Old to New back
	DryRun bool `json:"dry_run"`
	Meant  bool `json:"meant"` // New is no slip of another device's name

	Why string `json:"why"`
	Who string `json:"who"`
}

// RenameAnswer is what was renamed, or would be.
type RenameAnswer struct {
	ID    string `json:"id"` // of the correction of the runs; "" where nothing was changed
	Old   string `json:"old"`
	New   string `json:"new"`
	Runs  int    `json:"runs"`
	Plans int    `json:"plans"` // that have runs of the device
	// Joined are the runs that New has besides: the two are one device then.
	Joined int `json:"joined"`
	// Watched tells whether the agent watches the device by the name that it had: it
	// records by that name until it is started anew.
	Watched bool `json:"watched"`
	// Doubts say that New is probably a slip of another device's name.
	Doubts []NameDoubt `json:"doubts"`
}

// Rename gives a device another name, or takes that back.
var Rename = &Operation[RenameRequest, RenameAnswer]{
	About{Method: "POST", Path: "/devices/rename", Summary: "Gives all runs of a device, and its plans, another name, or takes that back.", Needs: NeedsRight, Opens: OpensToWrite},
	func(ctx context.Context, d *Day, q RenameRequest) (RenameAnswer, error) {
		watched := ""
		if s, err := d.Status(); err == nil && s.holds(d.Dir) {
			watched = s.Device
		}
		a, err := RenameDevice(ctx, d.Store, q, watched, d.Now)
		if err == nil && !q.DryRun {
			err = moveDeclaration(ctx, d.Store, a.Old, a.New)
		}
		if err == nil && a.Watched && !q.DryRun && d.RenameWatched != nil {
			renamed, e := d.RenameWatched(ctx, a.Old, a.New)
			a.Watched, err = !renamed, e
		}
		return a, err
	},
}

// holds tells whether the agent keeps its data in a folder; one that does not say may.
func (h Holder) holds(dir string) bool {
	a, errA := os.Stat(h.Data)
	b, errB := os.Stat(dir)
	return h.Data == "" || h.Data == dir || errA == nil && errB == nil && os.SameFile(a, b)
}

// moveDeclaration has the setting that was declared for a device hold under its new name,
// where none was declared for that.
func moveDeclaration(ctx context.Context, s store.Declarations, from, to string) error {
	declared, err := s.Declaration(ctx, from)
	if err != nil || !declared.Setting.Known() {
		return err
	}
	other, err := s.Declaration(ctx, to)
	if err != nil {
		return err
	}
	if !other.Setting.Known() {
		if err := s.KeepDeclaration(ctx, to, declared); err != nil {
			return err
		}
	}
	return s.KeepDeclaration(ctx, from, run.Declaration{})
}

// Renamable is data in which a device can have another name.
type Renamable interface {
	NamedRuns
	store.Plans
}

// RenameDevice gives all runs of a device, and the plans, another name, or takes that
// back. watched is the device that an agent watches; "" where there is none.
func RenameDevice(ctx context.Context, s Renamable, q RenameRequest, watched string, now time.Time) (a RenameAnswer, err error) {
	for _, name := range []string{q.Old, q.New} {
		if err := run.CheckLabel("device", name); err != nil {
			return a, requestError(err)
		}
	}
	if q.Old == q.New {
		return a, requestError(fmt.Errorf("%s is its name already", q.Old))
	}
	from, to := q.Old, q.New
	if q.Undo {
		from, to = q.New, q.Old
	}
	a = RenameAnswer{Old: from, New: to, Watched: watched == from, Doubts: []NameDoubt{}}
	if err := checkNotRecording(ctx, s, from); err != nil {
		return a, err
	}
	c, stays, joined, err := q.correct(ctx, s, from, to, now)
	if err != nil {
		return a, err
	}
	a.Doubts = append(a.Doubts, c.Doubts...)
	a.Joined = joined
	a.ID, a.Runs = c.ID, len(c.Runs)
	if !stays {
		a.Plans, err = s.RenameInPlans(ctx, from, to, q.DryRun)
	}
	if err == nil && a.Runs+a.Plans == 0 {
		err = noSuchDevice(ctx, s, from)
	}
	return a, err
}

// correct gives the runs their name, on which no threshold of a finding depends. stays tells whether the device keeps its plans, for
// others have its name; joined is how many runs have the new name already.
func (q RenameRequest) correct(ctx context.Context, s Renamable, from, to string, now time.Time) (c CorrectAnswer, stays bool, joined int, err error) {
	devices, err := s.Devices(ctx)
	if err != nil {
		return c, false, 0, err
	}
	at := func(name string) int {
		return slices.IndexFunc(devices, func(d store.DeviceRuns) bool { return d.Device == name })
	}
	if q.Undo {
		id, err := renaming(ctx, s, q.Old, q.New)
		if err != nil {
			return c, false, 0, err
		}
		c, err = Undo(ctx, s, UndoRequest{Correction: id, Why: q.Why, Who: q.Who, DryRun: q.DryRun}, judge.Thresholds{}, now)
		return c, err == nil && at(from) >= 0 && len(c.Runs) < devices[at(from)].Runs, 0, err
	}
	i, j := at(from), at(to)
	if i < 0 {
		return c, false, 0, nil // it may have a plan
	}
	if j >= 0 && !q.Into {
		for _, m := range devices[i].Machines {
			if why := devices[j].Machines.Other(m); why != "" {
				return c, false, 0, fmt.Errorf("%s has runs already, and is another machine: %s. Choose another name, or say --into if they are one device all the same", to, why)
			}
		}
	}
	if j >= 0 {
		joined = devices[j].Runs
	}
	c, err = CorrectTyped(ctx, s, CorrectRequest{Filter: FilterRequest{Device: from}, Set: NewTyped{Device: &to}, Why: q.Why, Who: q.Who, DryRun: q.DryRun, New: q.Meant}, judge.Thresholds{}, now)
	return c, false, joined, err
}

// checkNotRecording refuses to rename a device of which a run is recording.
func checkNotRecording(ctx context.Context, s store.Runs, device string) error {
	runs, err := s.Runs(ctx, store.Filter{Device: device})
	for _, r := range runs {
		if r.Device == device && (r.State == run.Recording || r.KeptIn != "") {
			return fmt.Errorf("run %s of %s: %s", run.ShortID(r.ID), device, notYet(r))
		}
	}
	return err
}

// renaming is the last correction that gave runs of one device the name of another.
func renaming(ctx context.Context, s CorrectableRuns, from, to string) (id string, err error) {
	batches, err := s.Batches(ctx)
	if err != nil {
		return "", err
	}
	for _, b := range slices.Backward(batches) {
		if b.Undone != "" || b.Undoes != "" || len(b.Runs) == 0 {
			continue
		}
		h, err := s.History(ctx, b.Runs[0])
		if err != nil {
			return "", err
		}
		for _, c := range h.Corrections {
			if c.Batch == b.ID && c.What == run.FieldDevice && c.Old == from && c.New == to {
				return b.ID, nil
			}
		}
	}
	return "", fmt.Errorf("%s was not renamed %s: `sweepd run history` lists what was corrected", from, to)
}

// noSuchDevice says which devices there are.
func noSuchDevice(ctx context.Context, s store.Runs, name string) error {
	devices, err := s.Devices(ctx)
	if err != nil {
		return err
	}
	var names []string
	for _, d := range devices {
		names = append(names, d.Device)
	}
	if near := run.Near(name, names); near != "" {
		return fmt.Errorf("there is no device %s: did you mean %s?", name, near)
	}
	if len(names) == 0 {
		return errors.New("no device has runs yet")
	}
	return fmt.Errorf("there is no device %s: `sweepd device list` lists them", name)
}
