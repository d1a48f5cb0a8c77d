package testday

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"sweepd/exporter"
	"sweepd/internal/bounded"
	"sweepd/internal/userfile"
	"sweepd/run"
	"sweepd/store"
)

// ResultsRequest says which table of results is taken, and how.
type ResultsRequest struct {
	File  string   `json:"file"`
	Lower []string `json:"lower,omitempty"` // results of which less is better
	New   bool     `json:"new,omitempty"`   // names are meant as they are
	Who   string   `json:"who,omitempty"`
}

// AddResults gives runs the results of a table that comes as bytes.
var AddResults = &Operation[ResultsRequest, CorrectAnswer]{
	About{Method: "POST", Path: "/results", Summary: "Gives runs the results of a table, all or none.", Needs: NeedsRight, Opens: OpensToWrite, Takes: "text/csv"},
	func(ctx context.Context, d *Day, q ResultsRequest) (a CorrectAnswer, err error) {
		in := userfile.NewInput(ctx, d.In, q.File, largestTable)
		table, err := readBlocks(bounded.LimitRows(in, mostRows))
		if err := errors.Join(err, in.Close()); err != nil {
			return a, fmt.Errorf("%s: %w", q.File, store.Stopped(ctx, err))
		}
		rows, err := exporter.ReadResults(table, exporter.TidyOptions{File: q.File, Lower: d.lower(q.Lower), New: q.New})
		if err != nil {
			return a, err
		}
		t := resultsTable{ctx: ctx, day: d, file: q.File, lower: d.lower(q.Lower), given: map[string]Results{}, lines: map[string]int{}}
		if !q.New {
			if err := t.checkNames(rows); err != nil {
				return a, err
			}
		}
		for _, row := range rows {
			if err := t.take(row); err != nil {
				t.problems = append(t.problems, err)
			}
		}
		if err := firstProblems(t.problems); err != nil {
			return a, err
		}
		b := &batch{store: d.Store, thresholds: d.Thresholds, who: q.Who, why: run.Shorten("results of " + fileName(q.File)), at: d.Now}
		if a, err = t.correct(b); err != nil {
			return a, err
		}
		return a, d.publishCorrected(ctx, a, nil)
	},
}

func fileName(file string) string {
	if file == "-" {
		return "standard input"
	}
	return file
}

// resultsTable is a table of results whose rows are found their runs.
type resultsTable struct {
	ctx   context.Context
	day   *Day
	file  string
	lower []string

	runs     []run.Run // all, once a row names its run by the start
	given    map[string]Results
	lines    map[string]int // of the first row of a run
	order    []string
	problems []error
}

// firstProblems are the first ones of a list, and how many more there are.
func firstProblems(list []error) error {
	if more := len(list) - mostProblems; more > 0 {
		return fmt.Errorf("%w\nand %d more", errors.Join(list[:mostProblems]...), more)
	}
	return errors.Join(list...)
}

// checkNames refuses names of results that were never seen and are almost those of before,
// and units in which a result never was.
func (t *resultsTable) checkNames(rows []exporter.ResultsRow) error {
	words, err := t.day.Store.Words(t.ctx)
	if err != nil {
		return err
	}
	var seen []string
	before := map[string][]string{}
	for _, w := range words.Results {
		seen = append(seen, w.Name)
		before[w.Name] = append(before[w.Name], w.Unit)
	}
	units := map[string]string{}
	for _, row := range rows {
		for name, r := range row.Results {
			units[name] = r.Unit // of the column
		}
	}
	for _, name := range slices.Sorted(maps.Keys(units)) {
		if d, doubted := doubtUnit(name, units[name], before[name]); doubted {
			return fmt.Errorf("%s: line 1, column %s: %s; --new says that it is meant", t.file, name, d)
		}
		if near := run.Near(name, seen); near != "" {
			return fmt.Errorf("%s: line 1, column %s: no run has such a result: did you mean %s? --new says that it is meant", t.file, name, near)
		}
	}
	return nil
}

// take finds the run of a row.
func (t *resultsTable) take(row exporter.ResultsRow) error {
	if len(row.Results) == 0 {
		return nil
	}
	where := func(column, text string, err error) error {
		return &exporter.RowError{File: t.file, Line: row.Line, Column: column, Text: run.Shorten(text), Err: err}
	}
	var d run.Record
	var err error
	if row.Run != "" {
		if d, err = t.day.Store.Run(t.ctx, row.Run); err != nil {
			return where("run", row.Run, err)
		}
	} else {
		id, err := t.at(row.Started)
		if err == nil {
			d, err = t.day.Store.Run(t.ctx, id)
		}
		if err != nil {
			return where("started_at", row.Started, err)
		}
	}
	if d.State == run.Recording || d.KeptIn != "" {
		return where("run", run.ShortID(d.ID), errors.New(notYet(d.Run)))
	}
	list, known := t.given[d.ID]
	if !known {
		list = Results{}
		t.given[d.ID], t.lines[d.ID] = list, row.Line
		t.order = append(t.order, d.ID)
	}
	for name, r := range row.Results {
		if other, twice := list[name]; twice && other.Value != r.Value {
			return where(name, fmt.Sprint(r.Value), fmt.Errorf("run %s is given %s in line %d, too: which is right?", run.ShortID(d.ID), name, t.lines[d.ID]))
		}
		old, had := d.Results[name]
		r.Better = direction(name, t.lower)
		if had {
			r.Better = old.Better
			if r.Unit == "" {
				r.Unit = old.Unit
			}
		}
		if err := run.CheckSign(name, r); err != nil {
			return where(name, fmt.Sprint(r.Value), err)
		}
		list[name] = r
	}
	return nil
}

// startSlack is how far a start that a person noted may lie from that of its run. Common
// practice, no source.
const startSlack = 5 * time.Second

// at is the run that was recording at a time, or that started next to it.
func (t *resultsTable) at(text string) (id string, err error) {
	from, until, err := startText(text, t.day.Now)
	if err != nil {
		return "", err
	}
	if t.runs == nil {
		if t.runs, err = t.day.Store.Runs(t.ctx, store.Filter{}); err != nil {
			return "", err
		}
	}
	var began, went []string
	for _, r := range t.runs {
		start, end := r.StartedAt.Time, endOf(&r)
		switch {
		case start.IsZero():
		case !start.Before(from.Add(-startSlack)) && start.Before(until.Add(startSlack)):
			began = append(began, r.ID)
		case start.Before(until) && end.After(from):
			went = append(went, r.ID)
		}
	}
	fit := began // a start is what was noted
	if len(began) == 0 {
		fit = went
	}
	switch len(fit) {
	case 0:
		return "", errors.New("no run started or was recording then: `sweepd run list` shows when runs started")
	case 1:
		return fit[0], nil
	}
	var names []string
	for _, id := range fit[:min(len(fit), 5)] {
		names = append(names, run.ShortID(id))
	}
	return "", fmt.Errorf("%d runs fit: %s; name one by its id, in a column run", len(fit), strings.Join(names, ", "))
}

// startText reads when a run started, in the zone of whoever asks unless it says one.
func startText(text string, now time.Time) (from, until time.Time, err error) {
	from, until, ok := writtenSpan(text, now)
	switch lasts := until.Sub(from); {
	case ok && lasts == 0:
		return from, from.Add(time.Second), nil
	case ok && lasts <= time.Minute:
		return from, until, nil
	}
	return from, until, errors.New("is no time: want one such as 2026-05-04T09:30:00Z, 2026-05-04 09:30 or, of today, 09:30")
}

// correct gives the runs their results, in one correction.
func (t *resultsTable) correct(b *batch) (CorrectAnswer, error) {
	return b.correct(t.ctx, t.order, func(d *run.Record) []run.Change {
		results := maps.Clone(d.Results)
		maps.Copy(results, t.given[d.ID])
		return resultChanges(d.Results, results)
	})
}
