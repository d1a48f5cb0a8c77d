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
// reading them gives the same number.
func WriteTidy(w io.Writer, runs []run.Run) error {
	names := tidyResults(runs)
	for _, n := range names {
		if slices.Contains(tidyColumns, n) {
			return fmt.Errorf("result %q has the name of a column of the tidy table: rename it (sweepd run result) or export --as json", n)
		}
	}
	rows := [][]string{slices.Concat(tidyColumns, names)}
	for _, r := range runs {
		rows = append(rows, tidyRow(r, names))
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

func tidyRow(r run.Run, names []string) []string {
	started := ""
	if !r.StartedAt.IsZero() {
		started = r.StartedAt.String()
	}
	watts := ""
	if w, ok := r.Setting.Watts(); ok {
		watts = number(&w)
	}
	units, lower := writeResultTerms(r, names)
	row := []string{
		r.ID, r.Device, r.Workload, string(r.Variant), string(r.Supply), watts, r.Setting.Name(),
		started, number(r.DurationS), number(r.PackageW), number(r.SystemW), string(r.State), r.Why, r.Note, units, lower,
	}
	for _, n := range names {
		cell := ""
		if x, there := r.Results[n]; there {
			cell = number(&x.Value)
		}
		row = append(row, cell)
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
	return strings.Join(us, ";"), strings.Join(ls, ";")
}

func number(x *float64) string {
	if x == nil {
		return ""
	}
	return strconv.FormatFloat(*x, 'g', -1, 64)
}
