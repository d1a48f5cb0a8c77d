// Package table has the one model of a table, and the tables of what the analysis
// found. A table is described once; where a terminal and the page show it differently,
// its columns and cells say how. Package text writes it to a terminal or as plain
// text, package report into the page.
package table

import "sweepd/report/sentence"

// Medium is where a table is shown. Several are joined by |.
type Medium uint8

const (
	Terminal Medium = 1 << iota // a terminal, or plain text in a pipe or a file
	Page                        // the page, which has room for every number and names its columns in full
)

// Table is rows of cells under columns.
type Table struct {
	Caption     string // what it shows; "" where that was said before it
	PageCaption string // on the page, where it is another one
	Columns     []Column
	Rows        [][]Cell // a cell for each column
}

// Column describes one column of a table.
type Column struct {
	Head     string
	PageHead string // on the page, where it is another one
	// Only is where the column is shown; 0 means everywhere.
	Only Medium
	// Optional is where the column is left out if none of its cells says anything.
	Optional Medium
	// Right puts the column's texts at its right edge, for numbers.
	Right bool
	// Point, on a terminal, puts the decimal points of numbers below each other, and
	// the column at its right edge.
	Point bool
	// Least is the width to which a column's texts may be broken into several
	// lines where the table is too wide for the terminal; 0 means that they may not be
	// broken.
	Least int
	// Below puts the column's texts on lines of their own, under their rows, where
	// the table is too wide for the terminal: for paths, which break badly. Such
	// columns come last.
	Below bool
}

// Cell is one cell.
type Cell struct {
	Text     string
	PageText string // on the page, where it is another one
	// Exact is the number in full, which the page keeps beside the text; "" for text and
	// for what is not known.
	Exact string
	Tone  sentence.Tone // on a terminal
}

// Row adds a row: a cell for each column, those at the end may be left out.
func (t *Table) Row(cells ...Cell) {
	row := make([]Cell, len(t.Columns))
	copy(row, cells)
	t.Rows = append(t.Rows, row)
}

// On is the table as a medium shows it: its columns alone, with its own texts.
func (t *Table) On(m Medium) Table {
	out := Table{Caption: t.Caption}
	if m == Page && t.PageCaption != "" {
		out.Caption = t.PageCaption
	}
	var kept []int
	for i, c := range t.Columns {
		if c.Only != 0 && c.Only&m == 0 || c.Optional&m != 0 && t.silent(i, m) {
			continue
		}
		if m == Page && c.PageHead != "" {
			c.Head = c.PageHead
		}
		kept, out.Columns = append(kept, i), append(out.Columns, c)
	}
	for _, row := range t.Rows {
		cells := make([]Cell, len(kept))
		for k, i := range kept {
			cells[k] = row[i].on(m)
		}
		out.Rows = append(out.Rows, cells)
	}
	return out
}

func (c Cell) on(m Medium) Cell {
	if m == Page && c.PageText != "" {
		c.Text = c.PageText
	}
	return c
}

// silent tells whether no cell of a column says anything. On the page, which leaves no
// cell of numbers blank, a column of dashes says nothing either.
func (t *Table) silent(column int, m Medium) bool {
	for _, row := range t.Rows {
		if c := row[column].on(m); c.Text != "" && (m != Page || c.Text != sentence.Dash || c.Exact != "") {
			return false
		}
	}
	return true
}
