package exporter

import (
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"

	"encoding/csv"

	"sweepd/run"
)

// tidyColumn is a column of a table that is read.
type tidyColumn struct {
	heading string  // as it stands there
	name    string  // of the known column, else of the result
	known   bool    // it is one of tidyColumns
	unit    string  // of the result, as the heading or a cell says; "" for none
	scale   float64 // how many of the known column's unit one of the heading's has
	near    string  // the known column that is probably meant, "" for none
}

// measured are the known columns of numbers: what they are called apart from their
// unit, and that unit.
var measured = map[string]struct{ stem, unit string }{
	colSettingW: {"setting", "W"}, colDuration: {"duration", "s"}, colPackage: {"package", "W"}, colSystem: {"system", "W"},
}

var errTidy = errors.New("is no tidy table")

func (t *tidyReader) readHeader(in *csv.Reader) error {
	line, err := t.readHeadings(in)
	if err != nil {
		return err
	}
	return t.checkColumns(line)
}

// readHeadings reads the first line, of which it says the number.
func (t *tidyReader) readHeadings(in *csv.Reader) (line int, err error) {
	header, err := in.Read()
	if errors.Is(err, io.EOF) {
		return 0, fmt.Errorf("%s %w: it is empty; the first line names the columns (device,workload,setting_w,...)", t.File, errTidy)
	}
	if err != nil {
		return 0, fmt.Errorf("%s: %w", t.File, err)
	}
	// An export names its units in a column, and what stands in the brackets of its
	// headings is part of the result's name.
	exported := slices.ContainsFunc(header, func(h string) bool { return strings.TrimSpace(h) == colUnits })
	line, _ = in.FieldPos(0)
	for i, heading := range header {
		heading = strings.Clone(run.FromCSVText(strings.TrimSpace(heading)))
		if err := run.CheckLabel("column name", heading); err != nil {
			return 0, fmt.Errorf("%s: line %d, column %d: %w", t.File, line, i+1, err)
		}
		c, err := readHeading(heading, exported)
		if err != nil {
			return 0, fmt.Errorf("%s: line %d, column %s: %w", t.File, line, heading, err)
		}
		if slices.ContainsFunc(t.columns, func(other tidyColumn) bool { return other.name == c.name }) {
			return 0, fmt.Errorf("%s: line %d: column %s stands twice", t.File, line, c.name)
		}
		t.columns = append(t.columns, c)
	}
	return line, nil
}

// readHeading tells which column a heading names.
func readHeading(heading string, exported bool) (c tidyColumn, err error) {
	c = tidyColumn{heading: heading, name: heading, scale: 1}
	if c.known = slices.Contains(tidyColumns, heading); c.known {
		return c, nil
	}
	name, unit, found := run.CutUnit(heading)
	found = found && !exported && run.KnownUnit(unit)
	if !found {
		name, unit = heading, ""
	}
	for _, column := range tidyColumns {
		m, number := measured[column]
		switch {
		case found && number && (run.Respelled(name, m.stem) || run.Respelled(name, column)):
			factor, same := run.UnitFactor(unit, m.unit)
			if !same || factor != 1 && run.Respelled(name, column) {
				return c, fmt.Errorf("%s is in %s: name the column %s (%s) if that is what it holds", column, m.unit, m.stem, unit)
			}
			return tidyColumn{heading: heading, name: column, known: true, scale: factor}, nil
		case !found && run.Respelled(name, column):
			return tidyColumn{heading: heading, name: column, known: true, scale: 1}, nil
		}
	}
	c.near = run.Near(name, tidyColumns)
	if found {
		c.name, c.unit = name, unit
	}
	return c, nil
}

// checkColumns looks for the columns that a table must have, and for those that are
// probably meant to be others.
func (t *tidyReader) checkColumns(line int) error {
	headings := make([]string, len(t.columns))
	for i, c := range t.columns {
		headings[i] = c.heading
	}
	for _, needed := range []string{colDevice, colWorkload} {
		if !slices.ContainsFunc(t.columns, func(c tidyColumn) bool { return c.name == needed }) {
			meant := ""
			if near := run.Near(needed, headings); near != "" {
				meant = fmt.Sprintf(" (is %s meant to be it?)", near)
			}
			return fmt.Errorf("%s %w: it has no column %s%s; its columns are %s", t.File, errTidy, needed, meant, strings.Join(headings, ", "))
		}
	}
	for _, c := range t.columns {
		// A column of numbers can be meant for one of text only where it fails anyway, and for
		// none that the table has.
		_, number := measured[c.near]
		if number && !t.New && !slices.ContainsFunc(t.columns, func(other tidyColumn) bool { return other.name == c.near }) {
			return fmt.Errorf("%s: line %d, column %s: did you mean %s? Rename it; if it is a result of that name, say --new", t.File, line, c.heading, c.near)
		}
	}
	return nil
}

// delimiter is that of comma, semicolon and tab which sets the needed columns apart
// in the first line, else the commonest there.
func delimiter(head []byte) rune {
	line, _, _ := strings.Cut(string(head), "\n")
	best := ','
	for _, c := range []rune{',', ';', '\t'} {
		in := csv.NewReader(strings.NewReader(line))
		in.Comma, in.LazyQuotes = c, true
		names, _ := in.Read()
		has := func(column string) bool {
			return slices.ContainsFunc(names, func(n string) bool { return run.Respelled(n, column) })
		}
		if has(colDevice) && has(colWorkload) {
			return c
		}
		if strings.Count(line, string(c)) > strings.Count(line, string(best)) {
			best = c
		}
	}
	return best
}
