package exporter

import (
	"encoding/csv"
	"fmt"
	"io"
	"maps"
	"slices"
	"strconv"
	"strings"

	"sweepd/run"
)

// WriteTidy writes runs as a tidy table: the known columns, then a column for
// each result that some run has, in order of name. Numbers are written so that
// reading them gives the same number; texts so that a spreadsheet takes none for a
// formula (run.CSVText) and reading them gives the same text.
func WriteTidy(w io.Writer, runs []run.Run) error { return writeTidy(w, runs, run.CSVText) }

// WritePlainTidy is WriteTidy with the texts as they are, for programs that take no
// cell for a formula.
func WritePlainTidy(w io.Writer, runs []run.Run) error {
	return writeTidy(w, runs, func(text string) string { return text })
}

func writeTidy(w io.Writer, runs []run.Run, cell func(text string) string) error {
	names := tidyResults(runs)
	for _, n := range names {
		if slices.Contains(tidyColumns, n) {
			return fmt.Errorf("result %q has the name of a column of the tidy table: rename it (sweepd run result) or export --as json", n)
		}
	}
	rows := [][]string{slices.Clone(tidyColumns)}
	for _, n := range names {
		rows[0] = append(rows[0], cell(run.Visible(n)))
	}
	for _, r := range runs {
		row := tidyRow(r, names, cell)
		row[len(tidyColumns)-1] = Revision(r)
		rows = append(rows, row)
	}
	return csv.NewWriter(w).WriteAll(rows)
}

func tidyResults(runs []run.Run) []string {
	names := map[string]bool{}
	for _, r := range runs {
		for n := range r.Results {
			names[n] = true
		}
	}
	return slices.Sorted(maps.Keys(names))
}

func tidyRow(r run.Run, names []string, cell func(string) string) []string {
	started := ""
	if !r.StartedAt.IsZero() {
		started = r.StartedAt.String()
	}
	watts := ""
	if w, ok := r.Setting.Watts(); ok {
		watts = number(&w)
	}
	units, lower := writeResultTerms(r, names)
	line := func(text string) string { return cell(run.Visible(text)) }
	lines := func(text string) string { return cell(run.VisibleLines(run.NoteText(text))) }
	row := []string{
		line(r.ID), line(r.Device), line(r.Workload), line(string(r.Variant)), string(r.Supply), watts, line(r.Setting.Name()),
		started, number(r.DurationS), number(r.PackageW), number(r.SystemW), string(r.State), lines(r.Why), lines(r.Note), line(units), line(lower), "",
	}
	for _, n := range names {
		value := ""
		if x, there := r.Results[n]; there {
			value = number(&x.Value)
		}
		row = append(row, value)
	}
	return row
}

// writeResultTerms are the columns units and lower of a run.
func writeResultTerms(r run.Run, names []string) (units, lower string) {
	var us, ls []string
	for _, n := range names {
		x, there := r.Results[n]
		if there && x.Unit != "" {
			us = append(us, n+"="+x.Unit)
		}
		if there && x.Better == run.Lower {
			ls = append(ls, n)
		}
	}
	return joinSemicolons(us), joinSemicolons(ls)
}

// joinSemicolons makes a row of a table of its own within a cell: a name or a unit
// may have a semicolon.
func joinSemicolons(list []string) string {
	if len(list) == 0 {
		return ""
	}
	var b strings.Builder
	w := csv.NewWriter(&b)
	w.Comma = ';'
	_ = w.Write(list) // into memory
	w.Flush()
	return strings.TrimSuffix(b.String(), "\n")
}

func number(x *float64) string {
	if x == nil {
		return ""
	}
	return strconv.FormatFloat(*x, 'g', -1, 64)
}
