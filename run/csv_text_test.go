package run

import (
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// OWASP, CSV Injection: cells that begin with = + - @, a tab or a carriage return.
func TestCSVText(t *testing.T) {
	for text, want := range map[string]string{
		"=cmd|' /C calc'!A0": "'=cmd|' /C calc'!A0", "+1": "'+1", "-5": "'-5", "@SUM(A1)": "'@SUM(A1)", "\t=1": "'\t=1", "\r=1": "'\r=1", "＝1": "'＝1",
		"'=1": "''=1", "''-1": "'''-1",
		"tile-sort": "tile-sort", "cores=6": "cores=6", "": "", "'": "'", "'quoted'": "'quoted'", " =1": " =1",
	} {
		if got := CSVText(text); got != want {
			t.Errorf("%q became %q, want %q", text, got, want)
		}
	}
	for cell, want := range map[string]string{"=1": "=1", "'a": "'a", "": ""} { // of a table from elsewhere
		if got := FromCSVText(cell); got != want {
			t.Errorf("%q is %q, want %q", cell, got, want)
		}
	}
}

func TestCSVTextIsTakenBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.StringMatching(`['=+@\t＝a-]{0,6}`).Draw(t, "text")
		cell := CSVText(text)
		if strings.IndexAny(cell, "=+-@\t\r＝＋－＠") == 0 {
			t.Fatalf("%q begins a formula", cell)
		}
		if got := FromCSVText(cell); got != text {
			t.Fatalf("%q became %q and then %q", text, cell, got)
		}
	})
}
