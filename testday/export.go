package testday

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"time"

	"sweepd/exporter"
	"sweepd/internal/userfile"
	"sweepd/run"
	"sweepd/store"
)

// Formats of an export.
const (
	CSV  = "csv"  // the tidy table, one row a run, that Import takes back without loss
	JSON = "json" // also summaries, discharge, findings and facts

	// PlainCSV is CSV whose texts stay as they are, though a spreadsheet may take one
	// for a formula.
	PlainCSV = "plain csv"
)

// ExportRequest selects the runs of an export.
type ExportRequest struct {
	FilterRequest
	Plain bool `json:"plain"` // of a table: texts stay as they are, see PlainCSV
}

// ExportTable and ExportRecords write runs for other programs.
var (
	ExportTable = &Operation[ExportRequest, Nothing]{
		About{Method: "GET", Path: "/export.csv", Summary: "Gives runs as the tidy table, one row a run, that an import takes back.", Gives: "text/csv; charset=utf-8"},
		func(ctx context.Context, d *Day, q ExportRequest) (Nothing, error) {
			if q.Plain {
				return Nothing{}, q.write(ctx, d, PlainCSV)
			}
			return Nothing{}, q.write(ctx, d, CSV)
		},
	}
	ExportRecords = &Operation[FilterRequest, Nothing]{
		About{Method: "GET", Path: "/export.json", Summary: "Gives runs with all that is kept of them but sweeps.", Gives: "application/json"},
		func(ctx context.Context, d *Day, q FilterRequest) (Nothing, error) {
			return Nothing{}, (&ExportRequest{FilterRequest: q}).write(ctx, d, JSON)
		},
	}
)

func (q *ExportRequest) write(ctx context.Context, d *Day, format string) error {
	f, err := q.Filter(d.Now)
	if err != nil {
		return err
	}
	return WriteExport(ctx, d.Store, f, format, d.Out)
}

// WriteFile has write fill a file that a person names for an export, as userfile.Write
// does, but no data file.
func WriteFile(ctx context.Context, path string, write func(io.Writer) error) error {
	if isData(path) {
		return fmt.Errorf("write %s: it is a data file, whose runs would be gone: name another file", path)
	}
	return userfile.Write(ctx, path, write)
}

// Export writes the runs that the filter selects to a file, whole or not at all, as
// userfile.Write does.
func Export(ctx context.Context, s store.Runs, f store.Filter, format, path string) error {
	return WriteFile(ctx, path, func(w io.Writer) error { return WriteExport(ctx, s, f, format, w) })
}

// isData tells whether a path is that of a data file that exists, or of what the
// database keeps beside it.
func isData(path string) bool {
	file, err := userfile.Resolve(path)
	if err != nil {
		return false
	}
	_, err = os.Stat(file)
	name := strings.TrimSuffix(strings.TrimSuffix(file, "-wal"), "-shm")
	return err == nil && strings.EqualFold(filepath.Ext(name), ".db")
}

// ExportPath is the file that a scheduled export writes to: {date} stands for the day.
func ExportPath(pattern string, now time.Time) string {
	return strings.ReplaceAll(pattern, "{date}", now.Format("2006-01-02"))
}

// WriteExport writes the runs that the filter selects.
func WriteExport(ctx context.Context, s store.Runs, f store.Filter, format string, w io.Writer) error {
	if write := map[string]func(io.Writer, []run.Run) error{CSV: exporter.WriteTidy, PlainCSV: exporter.WritePlainTidy}[format]; write != nil {
		runs, err := s.Runs(ctx, f)
		if err != nil {
			return err
		}
		return write(w, runs)
	}
	details, err := s.Records(ctx, f)
	if err != nil {
		return err
	}
	list := make([]run.Record, len(details))
	for i, d := range details {
		list[i] = complete(d)
	}
	e := json.NewEncoder(run.VisibleWriter{To: w})
	e.SetIndent("", "  ")
	e.SetEscapeHTML(false)
	return e.Encode(list)
}
