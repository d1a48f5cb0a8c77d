package text

import (
	"strings"

	"github.com/rivo/uniseg"

	"sweepd/report/sentence"
	"sweepd/run"
)

// Wrap breaks a text at blanks so that its lines fit the width, but not between a number and
// its unit; lines after the first begin with indent, the first keeps its blanks. A word that is
// wider than a line keeps it to itself.
func (o Options) Wrap(text, indent string) string {
	var b strings.Builder
	used := len(text) - len(strings.TrimLeft(text, " "))
	b.WriteString(text[:used])
	text = strings.Join(strings.Fields(run.VisibleLines(text)), " ")
	for i, word := range strings.Split(sentence.Unbroken(text), " ") {
		word = strings.ReplaceAll(word, "\u00a0", " ")
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
