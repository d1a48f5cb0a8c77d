package exporter

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"strings"

	"sweepd/internal/bounded"
	"sweepd/run"
)

// ResultsRow is a row of a table of results: a run, and the numbers that it reported.
type ResultsRow struct {
	Line    int
	Run     string // what names the run; "" where its start does
	Started string // as it is written; "" where the run is named
	Results map[string]run.Result
}

// columns that name the run of a row, beside those of the tidy table.
var runColumns = map[string]string{"id": colRun, "run_id": colRun, "start": colStarted, "started": colStarted, "time": colStarted}

// ReadResults reads a table of results: a column run or started_at, and one for each
// result, with its unit in brackets where it has one. Empty cells say nothing. Every bad
// cell is told, with file, line, column and text.
func ReadResults(r io.Reader, o TidyOptions) (rows []ResultsRow, err error) {
	t := &tidyReader{TidyOptions: o}
	in := bounded.NewTable(r, delimiter)
	in.ReuseRecord = true
	if _, err := t.readHeadings(in); err != nil {
		return nil, err
	}
	if err := t.checkResultColumns(); err != nil {
		return nil, err
	}
	var errs []error
	for {
		record, line, err := t.record(in)
		switch {
		case errors.Is(err, io.EOF):
			return rows, errors.Join(append(errs, t.numbers.doubt(t.File, true))...)
		case errors.Is(err, csv.ErrFieldCount):
			errs = append(errs, err)
			continue
		case err != nil:
			return nil, err
		}
		row, err := t.readResults(record, line)
		errs = append(errs, err)
		rows = append(rows, row)
		if len(errs) > 0 && countErrors(errs) >= mostBadCells {
			return nil, errors.Join(errs...)
		}
	}
}

// mostBadCells is how many of them are told.
const mostBadCells = 20

func countErrors(errs []error) (n int) {
	for _, err := range errs {
		if err != nil {
			n++
		}
	}
	return n
}

// checkResultColumns looks for what a table of results must have, and may not.
func (t *tidyReader) checkResultColumns() error {
	var headings []string
	named := 0
	for i := range t.columns {
		c := &t.columns[i]
		headings = append(headings, c.heading)
		if as := runColumns[strings.ToLower(c.name)]; as != "" && !c.known {
			c.name, c.known = as, true
		}
		switch {
		case c.known && (c.name == colRun || c.name == colStarted):
			named++
		case c.known:
			return fmt.Errorf("%s: column %s is no result: a table of results has the column run or started_at, and results; sweepd import takes whole rows, and edited exports", t.File, c.heading)
		}
	}
	switch {
	case named == 0:
		return fmt.Errorf("%s: it has no column run (any part of an id that only one run has) or started_at; its columns are %s", t.File, strings.Join(headings, ", "))
	case named == len(t.columns):
		return fmt.Errorf("%s: it has no column of results; its columns are %s", t.File, strings.Join(headings, ", "))
	}
	return nil
}

// readResults reads a row.
func (t *tidyReader) readResults(record []string, line int) (row ResultsRow, err error) {
	row.Line = line
	d := run.Record{Run: run.Run{Results: map[string]run.Result{}}}
	var errs []error
	for i := range t.columns {
		c := &t.columns[i]
		text := strings.Clone(strings.TrimSpace(record[i]))
		t.at = place{line, c.heading, text}
		switch {
		case c.known && c.name == colRun:
			row.Run = run.FromCSVText(text)
		case c.known:
			row.Started = text
		default:
			if err := t.readResult(&d, c, text); err != nil {
				errs = append(errs, t.at.error(t.File, err))
			}
		}
	}
	row.Results = d.Results
	if row.Run == "" && row.Started == "" {
		errs = append(errs, fmt.Errorf("%s: line %d: it names no run, neither by its id nor by its start", t.File, line))
	}
	return row, errors.Join(errs...)
}
