package testday

import (
	"bytes"
	"context"
	"os"

	"sweepd/exporter"
	"sweepd/store"
)

// Imported is how many runs of a table were added and how many were there before.
type Imported struct {
	Added int `json:"added"`
	Known int `json:"known"`
}

// Import takes over the runs of a tidy table. lower names the results of which less is
// better; progress is told how many runs were taken of a table of so many lines.
func Import(ctx context.Context, s store.Importer, file string, lower []string, progress func(done, lines int)) (x Imported, err error) {
	// The whole file first: nobody else can write while runs are stored, and it may
	// lie on a slow medium.
	table, err := os.ReadFile(file)
	if err != nil {
		return x, err
	}
	lines := bytes.Count(table, []byte("\n"))
	x.Added, x.Known, err = s.Import(ctx, exporter.ReadTidy(bytes.NewReader(table), file, lower), func(done int) { progress(done, lines) })
	return x, err
}
