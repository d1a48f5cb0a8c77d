package testday

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"time"

	"sweepd/exporter"
	"sweepd/run"
	"sweepd/store"
)

// Formats of an export.
const (
	CSV  = "csv"  // the tidy table, one row a run, that Import takes back without loss
	JSON = "json" // also summaries, discharge, findings and facts
)

// Export writes the runs that the filter selects to a file, which is made anew whole,
// or not at all.
func Export(ctx context.Context, s store.Runs, f store.Filter, format, path string) error {
	return writeWhole(path, func(w io.Writer) error { return WriteExport(ctx, s, f, format, w) })
}

// ExportPath is the file that a scheduled export writes to: {date} stands for the day.
func ExportPath(pattern string, now time.Time) string {
	return strings.ReplaceAll(pattern, "{date}", now.Format("2006-01-02"))
}

// WriteExport writes the runs that the filter selects.
func WriteExport(ctx context.Context, s store.Runs, f store.Filter, format string, w io.Writer) error {
	if format == CSV {
		runs, err := s.Runs(ctx, f)
		if err != nil {
			return err
		}
		return exporter.WriteTidy(w, runs)
	}
	details, err := s.Records(ctx, f)
	if err != nil {
		return err
	}
	list := make([]run.Record, len(details))
	for i, d := range details {
		list[i] = complete(d)
	}
	e := json.NewEncoder(w)
	e.SetIndent("", "  ")
	e.SetEscapeHTML(false)
	return e.Encode(list)
}

// writeWhole writes a file beside its place and moves it there when it is whole.
func writeWhole(path string, write func(io.Writer) error) (err error) {
	f, err := os.CreateTemp(filepath.Dir(path), "."+filepath.Base(path)+"-*")
	if err != nil {
		return fmt.Errorf("write %s: %w", path, err)
	}
	defer func() {
		if err != nil {
			_ = f.Close()
			_ = os.Remove(f.Name())
			err = fmt.Errorf("write %s: %w", path, err)
		}
	}()
	buffered := bufio.NewWriterSize(f, 1<<16)
	if err := write(buffered); err != nil {
		return err
	}
	if err := errors.Join(buffered.Flush(), f.Chmod(0o644), f.Close()); err != nil {
		return err
	}
	return os.Rename(f.Name(), path)
}
