package testday

import (
	"bytes"
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"time"

	"sweepd/exporter"
	"sweepd/internal/bounded"
	"sweepd/internal/userfile"
	"sweepd/run"
	"sweepd/store"
)

// Imported is how many runs of a table were added and how many were there before.
type Imported struct {
	Added int `json:"added"`
	Known int `json:"known"`
	// Corrected is how many of the known ones were corrected, as a table says that was
	// exported and edited; Correction names that, to take it back.
	Corrected  int    `json:"corrected"`
	Correction string `json:"correction,omitempty"`
	// Warnings name labels of the table that are probably slips, with their lines, and what
	// became of rows that are neither new nor as their runs are.
	Warnings []string `json:"warnings"`
}

// Bounds of a table: the runs of a lab in years.
const (
	largestTable = 512 << 20 // bytes
	mostRows     = 5_000_000
)

// ImportRequest says which table is taken over, and how.
type ImportRequest struct {
	File  string   `json:"file"`
	Lower []string `json:"lower,omitempty"` // results of which less is better
	Force bool     `json:"force,omitempty"` // cells of a table that was exported and edited count also where the run was corrected since
	Who   string   `json:"who,omitempty"`
	New   bool     `json:"new,omitempty"` // names are meant as they are that are almost like known ones
}

// Import takes over the runs of a tidy table; progress is told how many runs were taken
// of a table of so many lines.
func Import(ctx context.Context, s ImportStore, q ImportRequest, progress func(done, lines int)) (x Imported, err error) {
	in, err := OpenTable(ctx, q.File)
	if err != nil {
		return x, err
	}
	return importTable(ctx, s, in, q, Thresholds{}, time.Now(), progress)
}

// OpenTable opens the table that a person names.
func OpenTable(ctx context.Context, file string) (*userfile.Input, error) {
	if info, err := os.Stat(file); err == nil && info.Mode().IsRegular() {
		if is, _ := isDataFile(file); is { // what cannot be read is told next
			return nil, fmt.Errorf("%s is a data file, not a table: sweepd merge %s", file, quoted(file))
		}
	}
	in, err := userfile.Open(ctx, file, largestTable)
	return in, store.Stopped(ctx, err)
}

// ImportTable takes over the runs of a tidy table that comes as bytes.
var ImportTable = &Operation[ImportRequest, Imported]{
	About{Method: "POST", Path: "/import", Summary: "Takes over the runs of a table.", Needs: NeedsRight, Opens: OpensToWrite, Takes: "text/csv"},
	func(ctx context.Context, d *Day, q ImportRequest) (Imported, error) {
		q.File, q.Lower = cmp.Or(q.File, "the table that was sent"), d.lower(q.Lower)
		return importTable(ctx, d.Store, userfile.NewInput(ctx, d.In, q.File, largestTable), q, d.Thresholds, d.Now, d.Progress)
	},
}

func importTable(ctx context.Context, s ImportStore, in *userfile.Input, q ImportRequest, th Thresholds, now time.Time, progress func(done, lines int)) (x Imported, err error) {
	// The whole file first: nobody else can write while runs are stored, and it may
	// lie on a slow medium.
	rows := bounded.LimitRows(in, mostRows)
	table, err := readBlocks(rows)
	if err := errors.Join(err, in.Close()); err != nil {
		return x, fmt.Errorf("%s: %w", q.File, store.Stopped(ctx, err))
	}
	o := exporter.TidyOptions{File: q.File, Lower: q.Lower, New: q.New}
	labels := &tableLabels{}
	if !q.New {
		if labels.words, err = s.Words(ctx); err != nil {
			return x, err
		}
	}
	edited := &editedTable{ctx: ctx, store: s, file: q.File, force: q.Force, changes: map[string][]run.Change{}}
	o.Told = func(row exporter.TidyRow, r *run.Record) {
		edited.row = row
		switch {
		case row.Recording:
			edited.recording++
		case !q.New:
			labels.check(row.Line, r)
		}
	}
	err = markAround(ctx, s, th, now, func() (err error) {
		x.Added, x.Known, err = s.Import(ctx, q.File, edited.others(exporter.ReadTidy(table, o)), func(done int) { progress(done, rows.Count()) })
		return err
	})
	if err == nil {
		x.Known += edited.known + edited.started
		b := &batch{store: s, thresholds: th, who: q.Who, why: run.Shorten("table " + q.File), at: now}
		x.Correction, x.Corrected, err = edited.correct(b)
	}
	x.Warnings = append(append([]string{}, labels.warnings...), edited.notes()...)
	return x, err
}

// ImportStore takes over runs, and tells what was seen before.
type ImportStore interface {
	store.Importer
	CorrectableRuns
	Seen
}

// readBlocks reads all of r into memory, which is free again as it is read.
func readBlocks(r io.Reader) (io.Reader, error) {
	var blocks []io.Reader
	for {
		block := make([]byte, 1<<20)
		n, err := io.ReadFull(r, block)
		blocks = append(blocks, bytes.NewReader(block[:n]))
		if errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
			return io.MultiReader(blocks...), nil
		}
		if err != nil {
			return nil, err
		}
	}
}
