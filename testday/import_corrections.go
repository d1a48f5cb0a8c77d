package testday

import (
	"context"
	"errors"
	"fmt"
	"iter"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"sweepd/exporter"
	"sweepd/report/sentence"
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
	row   exporter.TidyRow // that is read

	starts   map[run.Cell]*startsHere // by device and workload
	here     map[string]run.Run       // by id; nil until a row has an id
	changes  map[string][]run.Change
	order    []string // ids of changes
	known    int      // rows of runs that are here
	problems []error  // cells that cannot be taken
	more     int      // problems that are not named

	recording int    // rows of runs that were being recorded
	started   int    // rows without an id of runs that are here, by their starts
	example   string // one of them
	former    []string
}

// notes say what became of rows that are neither new nor as their runs are.
func (t *editedTable) notes() (list []string) {
	is := func(n int, one, many string) string {
		if n == 1 {
			return one
		}
		return many
	}
	if n := t.started; n > 0 {
		list = append(list, fmt.Sprintf("%s without an id %s here already, by device, workload and start (%s), and nothing of %s was taken; to correct runs keep the columns run and revision of an export",
			sentence.Counted(n, "row"), is(n, "is of a run that is", "are of runs that are"), t.example, is(n, "it", "them")))
	}
	if n := t.recording; n > 0 {
		list = append(list, fmt.Sprintf("%s left out: %s still recording when the table was written; export again when it has ended",
			is(n, "1 row was", fmt.Sprintf("%d rows were", n)), is(n, "its run was", "their runs were")))
	}
	return append(list, t.former...)
}

// others gives the rows that are not of runs that are here, and what is wrong with those
// after the last one.
func (t *editedTable) others(rows iter.Seq2[*run.Record, error]) iter.Seq2[*run.Record, error] {
	return func(yield func(*run.Record, error) bool) {
		for d, err := range rows {
			if err == nil {
				look := t.startsAsOneHere
				if t.row.HasID {
					look = t.take
				}
				var taken bool
				if taken, err = look(d); taken {
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
	changes, fixed := t.changesOf(d, &now)
	if d.Revision == "" && len(changes)+len(fixed) > 0 {
		if changes, fixed, err = t.since(d, &now, changes, fixed); err != nil {
			return false, err
		}
	}
	for _, p := range fixed {
		t.problem(p.column, p.err)
	}
	if len(changes) == 0 {
		return true, nil
	}
	if d.Revision == "" && !t.force {
		for _, c := range changes {
			t.problem(column(c), fmt.Errorf("the table says %s, run %s here has %s, and without the column revision nothing tells which is newer; export again and edit that, or take the table's cells with --force", shownAs(c, c.New), run.ShortID(d.ID), shownAs(c, c.Old)))
		}
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
	t.problems = append(t.problems, fmt.Errorf("%s: line %d, column %s: %w", t.file, t.row.Line, column, err))
}

// since leaves out what a row without a revision says of a run as it was before somebody
// corrected, trimmed or decided on it: the table is older than that.
func (t *editedTable) since(d *run.Record, now *run.Run, changes []run.Change, fixed []cellProblem) ([]run.Change, []cellProblem, error) {
	h, err := t.store.History(t.ctx, d.ID)
	if err != nil {
		return nil, nil, err
	}
	was := len(changes)
	changes = slices.DeleteFunc(changes, func(c run.Change) bool {
		return slices.ContainsFunc(h.Changes(), func(x run.Change) bool { return x.What == c.What && x.Name == c.Name && x.Old == c.New })
	})
	if len(changes) < was && len(t.former) < mostProblems {
		t.former = append(t.former, fmt.Sprintf("line %d: run %s was corrected since, and stays so", t.row.Line, run.ShortID(d.ID)))
	}
	fixed = slices.DeleteFunc(fixed, func(p cellProblem) bool {
		return p.column == "state" && len(h.Decisions) > 0 || p.column != "state" && now.WholeS != nil
	})
	return changes, fixed, nil
}

// cellProblem is why a cell cannot be taken.
type cellProblem struct {
	column string
	err    error
}

// same is how near numbers are that are one, relative: a spreadsheet keeps 15 digits of 17,
// and nothing that is measured here is known as well as this.
const same = 1e-9

func sameNumber(a, b *float64) bool {
	return a != nil && b != nil && math.Abs(*a-*b) <= same*max(math.Abs(*a), math.Abs(*b))
}

// sameStart tells whether a start that is written to a precision, cut off or rounded, is
// that of a run.
func sameStart(written, of run.Timestamp, to time.Duration) bool {
	return of.Truncate(to).Equal(written.Time) || to <= time.Second && of.Round(to).Equal(written.Time)
}

// changesOf are the cells that differ from what a run is now, and those that no table
// corrects.
func (t *editedTable) changesOf(d *run.Record, now *run.Run) (list []run.Change, problems []cellProblem) {
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
	watts, inWatts := d.Setting.Watts()
	wattsNow, inWattsNow := now.Setting.Watts()
	sameWatts := inWatts && inWattsNow && sameNumber(&watts, &wattsNow)
	if d.Setting.Known() && d.Setting.Setting != now.Setting.Setting && !sameWatts {
		change(run.FieldSetting, "", d.Setting.String())
		change(run.FieldSource, "", string(run.Declared))
	}
	change(run.FieldNote, "", d.Note)
	for _, name := range slices.Sorted(maps.Keys(d.Results)) {
		x, is := d.Results[name], now.Results[name]
		if sameNumber(&x.Value, &is.Value) {
			x.Value = is.Value
		}
		change(run.FieldResult, name, run.ResultText(x))
	}
	fixed := func(column, text, is string) {
		if text != "" && text != is {
			problems = append(problems, cellProblem{column, fmt.Errorf("it is %s here, and %s in the table: it was measured, and no table corrects it", orUnknownText(is), text)})
		}
	}
	measured := func(column string, x, is *float64) {
		if !sameNumber(x, is) {
			fixed(column, numberText(x), numberText(is))
		}
	}
	stamp := func(at run.Timestamp) string {
		if at.IsZero() {
			return ""
		}
		return at.String()
	}
	if t.row.StartedTo == 0 || !sameStart(d.StartedAt, now.StartedAt, t.row.StartedTo) {
		fixed("started_at", stamp(d.StartedAt), stamp(now.StartedAt))
	}
	measured("duration_s", d.DurationS, now.DurationS)
	measured("package_w", d.PackageW, now.PackageW)
	measured("system_w", d.SystemW, now.SystemW)
	if t.row.HasState && d.State != now.State {
		problems = append(problems, cellProblem{"state", fmt.Errorf("it is %s here, and %s in the table: say so with sweepd run reject, or run keep", now.State, d.State)})
	}
	return list, problems
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
