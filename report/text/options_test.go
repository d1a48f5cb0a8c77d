package text

import (
	"strings"
	"testing"

	"sweepd/report/table"
)

func TestColumns(t *testing.T) {
	for width, want := range map[int]int{0: 80, -1: 80, 1: 1, 120: 120} { // 80 unless said
		if got := (Options{Width: width}).Columns(); got != want {
			t.Errorf("width %d: %d columns, want %d", width, got, want)
		}
	}
}

// The sequences of ECMA-48 (select graphic rendition): 2 faint, 31 red, 32 green, 33 yellow,
// 0 as before. Each line has its own, and an empty one none.
func TestPaint(t *testing.T) {
	o := Options{Colour: true}
	for _, c := range []struct{ got, want string }{
		{o.Paint("a", Good), "\x1b[32ma\x1b[0m"},
		{o.Paint("a", Doubtful), "\x1b[33ma\x1b[0m"},
		{o.Paint("a", Bad), "\x1b[31ma\x1b[0m"},
		{o.Paint("a", Plain), "a"},
		{o.Paint("", Good), ""},
		{o.PaintLines("a\n\nb", Good), "\x1b[32ma\x1b[0m\n\n\x1b[32mb\x1b[0m"},
		{(Options{}).PaintLines("a\nb\x07", Good), "a\nb\\u0007"},
	} {
		if c.got != c.want {
			t.Errorf("got %q, want %q", c.got, c.want)
		}
	}
}

// The heads of columns are faint, cells have their tone, and the blanks between none.
func TestTableIsPainted(t *testing.T) {
	shown := &table.Table{Columns: []table.Column{{Head: "W", Right: true}, {Head: "ahead"}, {Head: "source", Below: true}}}
	shown.Row(table.Text("10"), table.Cell{Text: "oak", Tone: Good}, table.Cell{Text: "/sys/class/power_supply", Tone: Doubtful})
	var b strings.Builder
	if err := Write(&b, shown, Options{Width: 12, Colour: true}); err != nil {
		t.Fatal(err)
	}
	want := " \x1b[2mW\x1b[0m  \x1b[2mahead\x1b[0m\n10  \x1b[32moak\x1b[0m\n    \x1b[33m/sys/class/power_supply\x1b[0m\n"
	if b.String() != want {
		t.Errorf("got\n%q\nwant\n%q", b.String(), want)
	}
}

// A table gives up room in this order: a blank between its columns, then columns below,
// then broken texts, the one with most to spare first. At each width it is as good as fits:
// 4 + 2 + 9 + 2 + 6 = 23 columns, 21 with one blank, 14 without the last.
func TestTableNarrows(t *testing.T) {
	shown := &table.Table{Columns: []table.Column{{Head: "run", Least: 3}, {Head: "workload", Least: 5}, {Head: "file", Below: true}}}
	shown.Row(table.Text("a-12"), table.Text("tile sort"), table.Text("/a/b/c"))
	for width, want := range map[int]string{
		23: "run   workload   file\na-12  tile sort  /a/b/c\n",
		22: "run  workload  file\na-12 tile sort /a/b/c\n",
		21: "run  workload  file\na-12 tile sort /a/b/c\n",
		20: "run   workload\na-12  tile sort\n    /a/b/c\n",
		15: "run   workload\na-12  tile sort\n    /a/b/c\n",
		14: "run  workload\na-12 tile sort\n    /a/b/c\n",
		13: "run  workload\na-12 tile\n     sort\n    /a/b/c\n",
		9:  "run workl\n    oad\na-  tile\n12  sort\n    /a/b/c\n",
		1:  "run workl\n    oad\na-  tile\n12  sort\n    /a/b/c\n", // no narrower than that
	} {
		var b strings.Builder
		if err := Write(&b, shown, Options{Width: width}); err != nil {
			t.Fatal(err)
		}
		if b.String() != want {
			t.Errorf("%d columns: got\n%s\nwant\n%s", width, b.String(), want)
		}
	}
	for _, width := range []int{23, 20, 1} { // not limited: two blanks, nothing below, nothing broken
		var b strings.Builder
		if err := Write(&b, shown, Options{Width: width, Unlimited: true}); err != nil {
			t.Fatal(err)
		}
		if want := "run   workload   file\na-12  tile sort  /a/b/c\n"; b.String() != want {
			t.Errorf("unlimited: got\n%s\nwant\n%s", b.String(), want)
		}
	}
}

// Texts break behind blanks and signs that join words, else anywhere; where not even one
// character fits they stay whole.
func TestBroken(t *testing.T) {
	for _, c := range []struct {
		text  string
		width int
		want  string
	}{
		{"tile sort", 9, "tile sort"},
		{"tile sort", 8, "tile|sort"},
		{"tile sort", 4, "tile|sort"},
		{"tile_sort", 8, "tile_|sort"},
		{"a/b/c", 4, "a/b/|c"},
		{"cores=6,smt=off", 9, "cores=6,|smt=off"},
		{"abcdef", 4, "abcd|ef"},
		{"-abcdef", 4, "-abc|def"}, // a sign at the start is no place to break
		{"長い名前", 5, "長い|名前"},
		{"長い", 1, "長い"},
		{"", 3, ""},
	} {
		if got := strings.Join(broken(c.text, c.width), "|"); got != c.want {
			t.Errorf("%q in %d: got %q, want %q", c.text, c.width, got, c.want)
		}
	}
}

// A line may be exactly as wide as the terminal.
func TestWrapAtItsWidth(t *testing.T) {
	for width, want := range map[int]string{11: "one two abc\n  d", 12: "one two abc\n  d", 13: "one two abc d", 10: "one two\n  abc d", 6: "one\n  two\n  abc\n  d", 7: "one two\n  abc d"} {
		if got := (Options{Width: width}).Wrap("one two  abc d", "  "); got != want {
			t.Errorf("%d columns: %q, want %q", width, got, want)
		}
	}
	if got := (Options{Width: 6}).Wrap("  a bc d", ""); got != "  a bc\nd" { // the blanks before it count
		t.Errorf("got %q", got)
	}
	for text, want := range map[string]string{ // a number stays with its unit
		"at a setting of 46 W: so":  "at a setting of\n  46 W: so",
		"ahead for 1 h 05 min":      "ahead for\n  1 h 05 min",
		"held 40.5 or so 9 % of":    "held 40.5 or so\n  9 % of",
		"from one of 46 Workloads":  "from one of 46\n  Workloads",
		"1 W 2 W 3 W 4 W 5 W":       "1 W 2 W 3 W 4 W\n  5 W",
		"a\u00a0b 46\u00a0W and so": "a b 46 W and so",
	} {
		if got := (Options{Width: 18}).Wrap(text, "  "); got != want {
			t.Errorf("%q became %q, want %q", text, got, want)
		}
	}
	if got := (Options{}).Wrap("", "  "); got != "" {
		t.Errorf("nothing became %q", got)
	}
}
