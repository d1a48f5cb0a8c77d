package text

import (
	"bufio"
	"io"
	"strings"
	"unicode"

	"github.com/rivo/uniseg"
)

// Column describes one column of a table.
type Column struct {
	Head string
	// Right puts the column's texts at its right edge, for numbers.
	Right bool
	// Point puts the decimal points of numbers below each other, and the column at
	// its right edge.
	Point bool
	// Least is the width that a column may be cut down to where the table is
	// too wide; 0 means that it may not be cut.
	Least int
	// CutFront cuts the front of a text instead of its end, for paths.
	CutFront bool
	// Optional columns are left out where all their cells are empty.
	Optional bool
}

// Cell is one text of a table.
type Cell struct {
	Text string
	Tone Tone
}

// Table is a table for a terminal.
type Table struct {
	Columns []Column
	rows    [][]Cell
}

// Row adds a row: a cell for each column, those at the end may be left out.
func (t *Table) Row(cells ...Cell) {
	row := make([]Cell, len(t.Columns))
	for i := range cells[:min(len(cells), len(row))] {
		row[i] = Cell{clean(cells[i].Text), cells[i].Tone}
	}
	t.rows = append(t.rows, row)
}

// Len is the number of rows.
func (t *Table) Len() int { return len(t.rows) }

// Columns are two blanks apart, one where that does not fit.
const (
	wideGap   = 2
	narrowGap = 1
)

// Write lays the table out in at most o.Width columns, if need be by cutting
// texts in columns that may be cut.
func (t *Table) Write(w io.Writer, o Options) error {
	t.alignPoints()
	widths, gap := t.widths(o.width())
	b := bufio.NewWriter(w)
	heads := make([]Cell, len(t.Columns))
	for i, c := range t.Columns {
		heads[i] = Cell{Text: c.Head, Tone: Faint}
	}
	t.writeRow(b, heads, widths, gap, o)
	for _, row := range t.rows {
		t.writeRow(b, row, widths, gap, o)
	}
	return b.Flush()
}

// alignPoints fills numbers up behind, so that at the right edge their points
// stand below each other.
func (t *Table) alignPoints() {
	for i := range t.Columns {
		if !t.Columns[i].Point {
			continue
		}
		t.Columns[i].Right = true
		behind := func(text string) int {
			if at := strings.IndexByte(text, '.'); at >= 0 {
				return len(text) - at
			}
			return 0
		}
		most := 0
		for _, row := range t.rows {
			row[i].Text = strings.TrimRight(row[i].Text, " ")
			most = max(most, behind(row[i].Text))
		}
		for _, row := range t.rows {
			if row[i].Text != "" {
				row[i].Text += strings.Repeat(" ", most-behind(row[i].Text))
			}
		}
	}
}

// widths gives every column its width, 0 for those left out, and the gap between
// them.
func (t *Table) widths(limit int) (widths []int, gap int) {
	widths = make([]int, len(t.Columns))
	total, least, columns := 0, 0, 0
	for i, c := range t.Columns {
		widths[i] = t.natural(i)
		if widths[i] == 0 {
			continue
		}
		columns++
		total += widths[i]
		least += widths[i]
		if c.Least > 0 {
			least -= max(widths[i]-c.Least, 0)
		}
	}
	gap = wideGap
	if least+(columns-1)*gap > limit {
		gap = narrowGap
	}
	for total += (columns - 1) * gap; total > limit && t.cut(widths); total-- {
	}
	return widths, gap
}

// natural is the width that a column would like.
func (t *Table) natural(i int) int {
	width := 0
	for _, row := range t.rows {
		width = max(width, uniseg.StringWidth(row[i].Text))
	}
	if width == 0 && t.Columns[i].Optional {
		return 0
	}
	return max(width, uniseg.StringWidth(t.Columns[i].Head))
}

// cut takes one from the width of the column that has most to give.
func (t *Table) cut(widths []int) bool {
	widest, most := -1, 0
	for i, c := range t.Columns {
		if spare := widths[i] - c.Least; c.Least > 0 && spare > most {
			widest, most = i, spare
		}
	}
	if widest < 0 {
		return false
	}
	widths[widest]--
	return true
}

func (t *Table) writeRow(b *bufio.Writer, row []Cell, widths []int, gap int, o Options) {
	var line strings.Builder
	pending := 0 // blanks that are written only if something follows
	first := true
	for i, cell := range row {
		if widths[i] == 0 {
			continue
		}
		if !first {
			pending += gap
		}
		first = false
		text := fit(cell.Text, widths[i], t.Columns[i].CutFront)
		blanks := widths[i] - uniseg.StringWidth(text)
		if t.Columns[i].Right {
			pending += blanks
		}
		if text != "" {
			line.WriteString(strings.Repeat(" ", pending))
			pending = 0
			line.WriteString(o.paint(text, cell.Tone))
		}
		if !t.Columns[i].Right {
			pending += blanks
		}
	}
	b.WriteString(strings.TrimRight(line.String(), " "))
	b.WriteByte('\n')
}

// Clip cuts the end of a text that is wider than width columns, and marks the
// cut.
func Clip(text string, width int) string { return fit(clean(text), width, false) }

// fit cuts a text to a width and marks the cut.
func fit(text string, width int, front bool) string {
	if uniseg.StringWidth(text) <= width {
		return text
	}
	var clusters []string
	for g := uniseg.NewGraphemes(text); g.Next(); {
		clusters = append(clusters, g.Str())
	}
	for cut := 1; cut < len(clusters); cut++ {
		kept := "…" + strings.Join(clusters[cut:], "")
		if !front {
			kept = strings.Join(clusters[:len(clusters)-cut], "") + "…"
		}
		if uniseg.StringWidth(kept) <= width {
			return kept
		}
	}
	return "…"
}

// clean keeps control characters away from the terminal: text in a data file
// may come from elsewhere.
func clean(text string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsControl(r) {
			return '\uFFFD'
		}
		return r
	}, text)
}
