package sentence

import "regexp"

// amount is a number and what stays on one line with it.
var amount = regexp.MustCompile(`(\d) (%|[mk]?W|Wh|[mk]?J|m?s|min|h|[MG]Hz|°C|K|V|A|fps|EUR|USD|GBP)\b|(\d) (%)`)

// clock is a time in hours and minutes, which stays on one line.
var clock = regexp.MustCompile(`(\d\x{a0}h) (\d\d\x{a0}min)`)

// Unbroken keeps each number and its unit on one line, and hours with their minutes: by
// no-break spaces (U+00A0).
func Unbroken(text string) string {
	return clock.ReplaceAllString(amount.ReplaceAllString(text, "$1$3\u00a0$2$4"), "$1\u00a0$2")
}
