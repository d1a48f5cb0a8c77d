package run

import (
	"encoding/json"
	"strings"
	"testing"
	"unicode/utf8"

	"pgregory.net/rapid"
)

// The characters with the property Bidi_Control (Unicode, PropList.txt; UAX #9,
// table 4 has them but for U+061C, which came later).
const bidiControls = "\u061c\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069"

func TestVisible(t *testing.T) {
	for text, want := range map[string]string{
		"60 fps":                       "60 fps",
		"Größe 5″ 速い \U0001F50B":       "Größe 5″ 速い \U0001F50B",
		"\x1b[31mred":                  `\u001b[31mred`,
		"a\x00\x7f\u009b\r\n\tb":       `a\u0000\u007f\u009b\r\n\tb`,
		"gpj\u202egnp.exe":             `gpj\u202egnp.exe`,
		"two\u2028lines\u2029more":     `two\u2028lines\u2029more`,
		"bad \xff\xc3(":                "bad \ufffd\ufffd(",
		`a backslash \ remains`:        `a backslash \ remains`,
		"family \U0001F468‍\U0001F469": "family \U0001F468‍\U0001F469",
	} {
		if got := Visible(text); got != want {
			t.Errorf("%q is %q, want %q", text, got, want)
		}
	}
	if got, want := VisibleLines("a\n\tb\r\x1b\n"), "a\n\tb\\r\\u001b\n"; got != want {
		t.Errorf("lines are %q, want %q", got, want)
	}
	for _, r := range bidiControls {
		if got := Visible(string(r)); !strings.HasPrefix(got, `\u`) {
			t.Errorf("%U is shown raw", r)
		}
	}
}

func TestNothingHiddenIsShown(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.OneOf(rapid.String(), rapid.Map(rapid.SliceOf(rapid.Byte()), func(b []byte) string { return string(b) })).Draw(t, "text")
		got := Visible(text)
		if !utf8.ValidString(got) || strings.ContainsFunc(got, hidden) {
			t.Fatalf("%q is shown as %q", text, got)
		}
		if Visible(got) != got {
			t.Fatalf("%q is changed again to %q", got, Visible(got))
		}
		// In JSON it is the same value.
		j, err := json.Marshal(text)
		if err != nil {
			t.Fatal(err)
		}
		var back, plain string
		if err := json.Unmarshal([]byte(VisibleLines(string(j))), &back); err != nil {
			t.Fatal(err)
		}
		if err := json.Unmarshal(j, &plain); err != nil || back != plain {
			t.Fatalf("%s reads %q, want %q", j, back, plain)
		}
	})
}
