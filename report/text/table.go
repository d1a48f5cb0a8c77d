package text

import (
	"bufio"
	"io"
	"strings"

	"github.com/rivo/uniseg"

	"sweepd/report/table"
	"sweepd/run"
)

// Columns are two blanks apart, one where that does not fit.
const (
	wideGap   = 2
	narrowGap = 1
)

// terminal is a table as a terminal shows it.
type terminal struct{ table.Table }

// Write writes a table, without its caption, in at most o.Width columns, if need be by
// breaking texts in columns that allow it; no text is cut. With o.Unlimited it is as
// wide as its texts.
func Write(w io.Writer, shown *table.Table, o Options) error {
	t := terminal{shown.On(table.Terminal)}
	for _, row := range t.Rows {
		for i := range row {
			row[i].Text = run.Visible(row[i].Text)
		}
	}
	for i, c := range t.Columns {
		t.Columns[i].Head = run.Visible(c.Head)
	}
	t.alignPoints()
	l := t.layout(o)
	b := bufio.NewWriter(w)
	heads := make([]table.Cell, len(t.Columns))
	for i, c := range t.Columns {
		heads[i] = table.Cell{Text: c.Head, Tone: faint}
	}
	t.writeRow(b, heads, l, o)
	for _, row := range t.Rows {
		t.writeRow(b, row, l, o)
		t.writeBelow(b, row, l, o)
	}
	return b.Flush()
}

// alignPoints fills numbers up behind, so that at the right edge their points
// stand below each other.
func (t *terminal) alignPoints() {
	for i := range t.Columns {
		if t.Columns[i].Point {
			t.Columns[i].Right = true
			t.fillDecimals(i)
		}
	}
}

func (t *terminal) fillDecimals(column int) {
	behind := func(text string) int { // the point and what follows
		if at := strings.IndexByte(text, '.'); at >= 0 {
			return len(text) - at
		}
		return 0
	}
	most := 0
	for _, row := range t.Rows {
		row[column].Text = strings.TrimRight(row[column].Text, " ")
		most = max(most, behind(row[column].Text))
	}
	for _, row := range t.Rows {
		if text := row[column].Text; text != "" {
			row[column].Text += strings.Repeat(" ", most-behind(text))
		}
	}
}

// layout is where a table's columns go.
type layout struct {
	widths []int // 0 for columns under the rows
	gap    int   // between columns
	below  []int // columns under the rows
}

// layout finds the most legible way to stay within the width: less room between
// the columns first, then columns below, then broken texts.
func (t *terminal) layout(o Options) layout {
	l := layout{widths: make([]int, len(t.Columns)), gap: wideGap}
	for i := range t.Columns {
		l.widths[i] = t.natural(i)
	}
	fits := func() bool {
		l.gap = wideGap
		if l.total() > o.Columns() {
			l.gap = narrowGap
		}
		return l.total() <= o.Columns()
	}
	if fits() {
		return l
	}
	if o.Unlimited {
		l.gap = wideGap
		return l
	}
	for i, c := range t.Columns {
		if c.Below && l.widths[i] > 0 {
			l.widths[i] = 0
			l.below = append(l.below, i)
		}
	}
	if fits() {
		return l
	}
	for l.total() > o.Columns() && t.narrow(l.widths) {
	}
	return l
}

func (l layout) total() int {
	total := -l.gap
	for _, w := range l.widths {
		if w > 0 {
			total += w + l.gap
		}
	}
	return total
}

// natural is the width that a column would like.
func (t *terminal) natural(i int) int {
	width := 0
	for _, row := range t.Rows {
		width = max(width, uniseg.StringWidth(row[i].Text))
	}
	return max(width, uniseg.StringWidth(t.Columns[i].Head))
}

// narrow takes one from the width of the column that has most to give.
func (t *terminal) narrow(widths []int) bool {
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

// writeRow writes a row in as many lines as its longest broken text needs.
func (t *terminal) writeRow(b *bufio.Writer, row []table.Cell, l layout, o Options) {
	lines := make([][]string, len(row))
	height := 1
	for i, cell := range row {
		if l.widths[i] > 0 {
			lines[i] = broken(cell.Text, l.widths[i])
			height = max(height, len(lines[i]))
		}
	}
	for n := range height {
		part := make([]table.Cell, len(row))
		for i, cell := range row {
			if n < len(lines[i]) {
				part[i] = table.Cell{Text: lines[i][n], Tone: cell.Tone}
			}
		}
		t.writeLine(b, part, l, o)
	}
}

func (t *terminal) writeLine(b *bufio.Writer, row []table.Cell, l layout, o Options) {
	var line strings.Builder
	pending := 0 // blanks that are written only if something follows
	first := true
	for i, cell := range row {
		if l.widths[i] == 0 {
			continue
		}
		if !first {
			pending += l.gap
		}
		first = false
		blanks := l.widths[i] - uniseg.StringWidth(cell.Text)
		if t.Columns[i].Right {
			pending += blanks
		}
		if cell.Text != "" {
			line.WriteString(strings.Repeat(" ", max(pending, 0)))
			pending = 0
			line.WriteString(o.paint(cell.Text, cell.Tone))
		}
		if !t.Columns[i].Right {
			pending += blanks
		}
	}
	b.WriteString(strings.TrimRight(line.String(), " "))
	b.WriteByte('\n')
}

// writeBelow writes what stands under a row, whole, for a path must be copied in
// one piece.
func (t *terminal) writeBelow(b *bufio.Writer, row []table.Cell, l layout, o Options) {
	for _, i := range l.below {
		if row[i].Text != "" {
			b.WriteString("    " + o.paint(row[i].Text, row[i].Tone) + "\n")
		}
	}
}

// Clip cuts the end of a text that is wider than width columns, and marks the
// cut.
func Clip(text string, width int) string {
	text = run.Visible(text)
	if uniseg.StringWidth(text) <= width {
		return text
	}
	head, _ := split(text, width-1)
	return head + "…"
}

// broken breaks a text into lines of a width, after a blank or a sign that joins
// words where there is one.
func broken(text string, width int) []string {
	var lines []string
	for uniseg.StringWidth(text) > width {
		head, tail := split(text, width)
		if head == "" { // not even one character fits
			break
		}
		if at := strings.LastIndexAny(head, " /_-,="); at > 0 && !strings.HasPrefix(tail, " ") {
			head, tail = text[:at+1], text[at+1:]
		}
		lines = append(lines, strings.TrimRight(head, " "))
		text = strings.TrimLeft(tail, " ")
	}
	return append(lines, text)
}

// split cuts a text between characters so that the first part is no wider than
// width.
func split(text string, width int) (head, tail string) {
	used, at := 0, 0
	for g := uniseg.NewGraphemes(text); g.Next(); {
		if used += g.Width(); used > width {
			break
		}
		_, at = g.Positions()
	}
	return text[:at], text[at:]
}
