package text

import (
	"strings"

	"github.com/rivo/uniseg"

	"sweepd/run"
)

// Wrap breaks a text at blanks so that its lines fit the width; lines after the
// first begin with indent, the first keeps its blanks. A word that is wider than a line keeps it to itself.
func (o Options) Wrap(text, indent string) string {
	var b strings.Builder
	used := len(text) - len(strings.TrimLeft(text, " "))
	b.WriteString(text[:used])
	for i, word := range strings.Fields(run.VisibleLines(text)) {
		width := uniseg.StringWidth(word)
		switch {
		case i == 0:
		case used+1+width > o.Columns():
			b.WriteString("\n" + indent)
			used = uniseg.StringWidth(indent)
		default:
			b.WriteByte(' ')
			used++
		}
		b.WriteString(word)
		used += width
	}
	return b.String()
}
