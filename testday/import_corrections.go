package testday

import (
	"context"
	"errors"
	"fmt"
	"iter"
	"maps"
	"slices"
	"strconv"
	"strings"

	"sweepd/exporter"
	"sweepd/run"
	"sweepd/store"
)

// mostProblems is how many cells an error names.
const mostProblems = 10

// editedTable finds in a table that was exported and edited what is corrected of runs
// that are here. Empty cells correct nothing.
type editedTable struct {
	ctx   context.Context
	store CorrectableRuns
	file  string
	force bool
	line  int // of the row that is read

	here     map[string]run.Run // by id; nil until a row has a revision
	changes  map[string][]run.Change
	order    []string // ids of changes
	known    int      // rows of runs that are here
	problems []error  // cells that cannot be taken
	more     int      // problems that are not named
}

// others gives the rows that are not of runs that are here, and what is wrong with those
// after the last one.
func (t *editedTable) others(rows iter.Seq2[*run.Record, error]) iter.Seq2[*run.Record, error] {
	return func(yield func(*run.Record, error) bool) {
		for d, err := range rows {
			if err == nil && d.Revision != "" {
				var taken bool
				if taken, err = t.take(d); taken {
					continue
				}
			}
			if !yield(d, err) || err != nil {
				return
			}
		}
		if err := errors.Join(t.problems...); err != nil {
			if t.more > 0 {
				err = fmt.Errorf("%w\nand %d more", err, t.more)
			}
			yield(nil, err)
		}
	}
}

// take takes a row of a run that is here; false where it is not.
func (t *editedTable) take(d *run.Record) (taken bool, err error) {
	if t.here == nil {
		runs, err := t.store.Runs(t.ctx, store.Filter{})
		if err != nil {
			return false, err
		}
		t.here = make(map[string]run.Run, len(runs))
		for _, r := range runs {
			t.here[r.ID] = r
		}
	}
	now, there := t.here[d.ID]
	if !there {
		return false, nil
	}
	t.known++
	if exporter.Revision(d.Run) == d.Revision { // nobody edited it
		return true, nil
	}
	changes := t.changesOf(d, &now)
	if len(changes) == 0 {
		return true, nil
	}
	if exporter.Revision(now) != d.Revision && !t.force {
		for _, c := range changes {
			t.problem(column(c), fmt.Errorf("the table says %s, but since it was exported run %s was corrected to %s; take the table's cells all the same with --force", shownAs(c, c.New), run.ShortID(d.ID), shownAs(c, c.Old)))
		}
		return true, nil
	}
	if _, twice := t.changes[d.ID]; twice {
		t.problem("run", fmt.Errorf("run %s stands twice in the table", run.ShortID(d.ID)))
		return true, nil
	}
	t.changes[d.ID] = changes
	t.order = append(t.order, d.ID)
	return true, nil
}

// problem notes why a cell cannot be taken.
func (t *editedTable) problem(column string, err error) {
	if len(t.problems) == mostProblems {
		t.more++
		return
	}
	t.problems = append(t.problems, fmt.Errorf("%s: line %d, column %s: %w", t.file, t.line, column, err))
}

// changesOf are the cells that differ from what a run is now.
func (t *editedTable) changesOf(d *run.Record, now *run.Run) (list []run.Change) {
	change := func(what run.Field, name, text string) {
		c := run.Change{What: what, Name: name, New: text}
		if c.Old = c.Of(now); text != "" && text != c.Old {
			list = append(list, c)
		}
	}
	change(run.FieldDevice, "", d.Device)
	change(run.FieldWorkload, "", d.Workload)
	change(run.FieldVariant, "", string(d.Variant))
	change(run.FieldSupply, "", string(d.Supply))
	if d.Setting.Known() && d.Setting.Setting != now.Setting.Setting {
		change(run.FieldSetting, "", d.Setting.String())
		change(run.FieldSource, "", string(run.Declared))
	}
	change(run.FieldNote, "", d.Note)
	for _, name := range slices.Sorted(maps.Keys(d.Results)) {
		change(run.FieldResult, name, run.ResultText(d.Results[name]))
	}
	fixed := func(column, text, is string) {
		if text != "" && text != is {
			t.problem(column, fmt.Errorf("it is %s here, and %s in the table: it was measured, and no table corrects it", orUnknownText(is), text))
		}
	}
	stamp := func(at run.Timestamp) string {
		if at.IsZero() {
			return ""
		}
		return at.String()
	}
	fixed("started_at", stamp(d.StartedAt), stamp(now.StartedAt))
	fixed("duration_s", numberText(d.DurationS), numberText(now.DurationS))
	fixed("package_w", numberText(d.PackageW), numberText(now.PackageW))
	fixed("system_w", numberText(d.SystemW), numberText(now.SystemW))
	if d.State != now.State {
		t.problem("state", fmt.Errorf("it is %s here, and %s in the table: say so with sweepd run reject, or run keep", now.State, d.State))
	}
	return list
}

func orUnknownText(text string) string {
	if text == "" {
		return "unknown"
	}
	return text
}

func numberText(x *float64) string {
	if x == nil {
		return ""
	}
	return strconv.FormatFloat(*x, 'g', -1, 64)
}

// column is the column that a change is in.
func column(c run.Change) string {
	if c.What == run.FieldResult {
		return c.Name
	}
	return string(c.What)
}

// shownAs is a text of a change in a sentence.
func shownAs(c run.Change, text string) string {
	if c.What == run.FieldResult {
		text, _, _ = strings.Cut(text, ", ")
	}
	return strconv.Quote(run.Shorten(text))
}

// correct makes the corrections, as one that can be taken back as a whole.
func (t *editedTable) correct(b *batch) (id string, runs int, err error) {
	a, err := b.correct(t.ctx, t.order, func(d *run.Record) []run.Change { return t.changes[d.ID] })
	return a.ID, len(a.Runs), err
}
