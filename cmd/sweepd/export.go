package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"

	"github.com/spf13/cobra"

	"sweepd/console"
	"sweepd/exporter"
	"sweepd/store"
	"sweepd/store/sqlite"
)

func (a *app) exportCommand() *cobra.Command {
	var f filterFlags
	var out string
	as := choice{words: []string{"csv", "json"}}
	cmd := &cobra.Command{
		Use:   "export --as csv|json --out PATH",
		Short: "Write runs to a file for other programs",
		Long: `Write runs to a file for other programs: csv is the tidy table, one row a run, that
import takes back without loss; json holds summaries, discharge, findings and facts
as well. PATH is made anew whole, or not at all; - is standard output.`,
		Example: `  sweepd export --as csv --out day.csv
  sweepd export --as json --workload harbour-flight --out -`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if as.value == "" || out == "" {
				return misused(errors.New("export needs --as csv or json, and --out PATH (- for standard output)"))
			}
			filter, err := f.filter()
			if err != nil {
				return err
			}
			return a.withStore(sqlite.Options{ReadOnly: true}, func(s store.Store, _ config) error {
				return a.writeWhole(out, func(w io.Writer) error { return export(cmd.Context(), s, filter, as.value, w) })
			})
		},
	}
	f.add(cmd)
	cmd.Flags().Var(&as, "as", "format")
	cmd.Flags().StringVar(&out, "out", "", "`PATH` to write to")
	return cmd
}

func export(ctx context.Context, s store.Store, f store.Filter, as string, w io.Writer) error {
	if as == "csv" {
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
	list := make([]any, len(details))
	for i, d := range details {
		list[i] = console.Detail(d)
	}
	return encodeJSON(w, list)
}

// writeWhole writes a file beside its place and moves it there when it is whole.
func (a *app) writeWhole(path string, write func(io.Writer) error) (err error) {
	if path == "-" {
		return write(a.out)
	}
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
