package run

import (
	"fmt"
	"io"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"
)

// hidden tells a character that a terminal, a page or a log acts on instead of
// showing it: control characters (Unicode category Cc, to which ESC belongs), the
// separators of lines and paragraphs, and those that turn the direction of the text
// (property Bidi_Control, Unicode Standard Annex 9; Technical Report 36, 2.6).
func hidden(r rune) bool {
	return unicode.IsControl(r) || unicode.In(r, unicode.Bidi_Control, unicode.Zl, unicode.Zp)
}

// Visible is a text, wherever it is from, as it may be shown: ESC is \u001b, a line
// feed \n, and what is not UTF-8 is U+FFFD. The escapes are those of JSON, so that
// JSON remains what it was.
func Visible(text string) string { return visible(text, "") }

// VisibleLines is Visible for a text of several lines, with tabs.
func VisibleLines(text string) string { return visible(text, "\n\t") }

func visible(text, kept string) string {
	escaped := func(r rune) bool { return (hidden(r) || r == utf8.RuneError) && !strings.ContainsRune(kept, r) }
	if !strings.ContainsFunc(text, escaped) {
		return text
	}
	var b strings.Builder
	for _, r := range text {
		switch {
		case r == utf8.RuneError || !escaped(r):
			b.WriteRune(r)
		case strings.ContainsRune("\n\t\r", r):
			b.WriteString(strings.Trim(strconv.QuoteRune(r), "'"))
		default:
			fmt.Fprintf(&b, `\u%04x`, r)
		}
	}
	return b.String()
}

// VisibleWriter passes texts on as VisibleLines makes them. Each Write must hold
// whole characters.
type VisibleWriter struct{ To io.Writer }

func (w VisibleWriter) Write(p []byte) (int, error) {
	if _, err := io.WriteString(w.To, VisibleLines(string(p))); err != nil {
		return 0, err
	}
	return len(p), nil
}
