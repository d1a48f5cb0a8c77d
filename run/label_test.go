package run

import (
	"strings"
	"testing"
)

// refused checks that an error says why something cannot be; "" wants no error.
func refused(t *testing.T, what string, err error, want string) {
	t.Helper()
	if want == "" && err != nil || want != "" && (err == nil || !strings.Contains(err.Error(), want)) {
		t.Errorf("%s: error %v, want %q", what, err, want)
	}
}

func TestCheckLabel(t *testing.T) {
	for text, want := range map[string]string{
		"unit-oak": "", "fünf Welten": "", strings.Repeat("x", 200): "", "a b": "", "~": "",
		"": "workload is empty", " \t": "workload is empty", strings.Repeat("x", 201): "workload has 201 bytes: at most 200",
		"a\nb": "control characters", "a\x00": "control characters", "a\x1f": "control characters", "\x7f": "control characters",
		"a\xff": "not UTF-8", "a\u009bb": "control characters", "gpj\u202egnp": `"gpj\u202egnp" holds control characters or such that turn the direction`,
		"a\u2028b": "control characters", " a": "begins or ends with a blank", "a\u00a0": "begins or ends with a blank",
	} {
		refused(t, text, CheckLabel("workload", text), want)
	}
}

func TestCheckNote(t *testing.T) {
	refused(t, "no note", CheckNote(""), "")
	refused(t, "a page", CheckNote(strings.Repeat("x\n", 2000)), "")
	refused(t, "more", CheckNote(strings.Repeat("x", 4001)), "note has 4001 bytes: at most 4000")
	refused(t, "one from elsewhere", CheckText("note", strings.Repeat("x", 16384)), "")
	refused(t, "more", CheckText("note", strings.Repeat("x", 16385)), "note has 16385 bytes: at most 16384")
	refused(t, "lines of any system, and tabs", CheckNote("a\r\nb\rc\td\n"), "")
	for _, text := range []string{"a\x00b", "\x1b[2J", "a\u202eb", "a\xffb", "a\u0085b"} {
		refused(t, text, CheckNote(text), "control characters")
	}
}

func TestNoteText(t *testing.T) {
	if got, want := NoteText(" a\r\nb\r\rc\n "), "a\nb\n\nc"; got != want {
		t.Errorf("%q, want %q", got, want)
	}
}

func TestShorten(t *testing.T) {
	for _, c := range []struct{ text, want string }{
		{"", ""}, {"short", "short"}, {strings.Repeat("é", 60), strings.Repeat("é", 60)}, {strings.Repeat("é", 61), strings.Repeat("é", 60) + "…"},
	} {
		if got := Shorten(c.text); got != c.want {
			t.Errorf("%q became %q", c.text, got)
		}
	}
}

func cellOfOak() Cell {
	return Cell{Device: "unit-oak", Workload: "tile-sort", Setting: Watts(15), Supply: Battery, Variant: "cores=6,fan=quiet"}
}

func TestCellOfLabels(t *testing.T) {
	l := Labels{Device: "unit-oak", Workload: "tile-sort", Setting: Watts(15).From(Firmware), Supply: Battery, Variant: "cores=6,fan=quiet"}
	if l.Cell() != cellOfOak() {
		t.Errorf("%+v", l.Cell())
	}
}

func TestCellInWords(t *testing.T) {
	plain := Cell{Device: "unit-oak", Workload: "tile-sort", Setting: Named("quiet")}
	for c, want := range map[Cell]string{
		cellOfOak(): "unit-oak, tile-sort, 15W, on battery, cores=6,fan=quiet",
		plain:       "unit-oak, tile-sort, quiet",
	} {
		if got := c.String(); got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
}

func TestCheckCell(t *testing.T) {
	for want, change := range map[string]func(*Cell){
		"":                           func(*Cell) {},
		"device is empty":            func(c *Cell) { c.Device = "" },
		"workload is empty":          func(c *Cell) { c.Workload = " " },
		"the setting is empty":       func(c *Cell) { c.Setting = Setting{} },
		`setting "a\x00" holds`:      func(c *Cell) { c.Setting = Named("a\x00") },
		`value of variant cores is`:  func(c *Cell) { c.Variant = "cores=" },
		`supply "" is neither mains`: func(c *Cell) { c.Supply = SupplyUnknown },
		`supply "solar" is neither`:  func(c *Cell) { c.Setting, c.Supply = Named("quiet"), "solar" },
	} {
		c := cellOfOak()
		change(&c)
		refused(t, c.String(), c.Check(), want)
	}
	for _, change := range []func(*Cell){func(c *Cell) { c.Supply = Mains }, func(c *Cell) { c.Variant = "" }, func(c *Cell) { c.Setting = Named("quiet") }} {
		c := cellOfOak()
		change(&c)
		refused(t, c.String(), c.Check(), "")
	}
}
