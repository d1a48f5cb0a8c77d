package bounded

import (
	"errors"
	"fmt"
	"runtime"
	"strings"
	"testing"
)

type section struct {
	Name string             `yaml:"name"`
	List []string           `yaml:"list"`
	Map  map[string]float64 `yaml:"map"`
	Deep []struct {
		In struct {
			List [][]string `yaml:"list"`
		} `yaml:"in"`
	} `yaml:"deep"`
}

func TestYAML(t *testing.T) {
	for text, want := range map[string]string{
		"":            "{ [] map[] []}",
		"# nothing\n": "{ [] map[] []}",
		"name: &n x\nlist: [*n, '[[[[[[[[[[[[[[[[[[[', \"{{{{{{{{{{{{{{{{{{{{{\"] # [[[[[[[[[[[[[[[[[[[[\n": "{x [x [[[[[[[[[[[[[[[[[[[ {{{{{{{{{{{{{{{{{{{{{] map[] []}",
		"deep:\n- in:\n    list:\n    - - a\n      - b\n    - [c, d]\n- in: {list: [[e]]}\n":                "{ [] map[] [{{[[a b] [c d]]}} {{[[e]]}}]}",
		"name: |\n                                  far\n                                  in\n":            "{far\nin\n [] map[] []}",
		"list:\n" + strings.Repeat("- x\n", 3):                                                              "{ [x x x] map[] []}",
		"%YAML 1.2\n---\nname: x\n...\n":                                                                    "{x [] map[] []}",
		"---\nname: x\n---\n# nothing\n":                                                                    "{x [] map[] []}",
		"map:\n  a: -1.5\n  b: 1e3\n  '1_000': 0\n":                                                         "{ [] map[1_000:0 a:-1.5 b:1000] []}",
		"map:\n  a: &w 1.5\n  b: *w\n":                                                                      "{ [] map[a:1.5 b:1.5] []}",
	} {
		var s section
		if err := DecodeYAML([]byte(text), &s); err != nil || fmt.Sprint(s) != want {
			t.Errorf("%q: %v, %v; want %s", text, s, err, want)
		}
	}
}

// What would take gigabytes is refused in little memory, with its place.
func TestYAMLBounds(t *testing.T) {
	indented := func(n int) string {
		var b strings.Builder
		for i := range n {
			b.WriteString(strings.Repeat(" ", i) + "a:\n")
		}
		return b.String()
	}
	laughs := "list:\n- &a0 [x,x,x,x,x,x,x,x,x]\n"
	for i := range 9 {
		laughs += fmt.Sprintf("- &a%d [%s]\n", i+1, strings.TrimSuffix(strings.Repeat(fmt.Sprintf("*a%d,", i), 9), ","))
	}
	for name, c := range map[string]struct{ text, want string }{
		"a second document":       {"name: x\n---\nname: y\n", "a second document begins here"},
		"one after an end":        {"name: x\n...\nname: y\n", "a second document begins here"},
		"underscores":             {"map: {a: 1_000}", "decimal notation"},
		"a fraction with such":    {"map: {a: 1_0.5}", "decimal notation"},
		"hexadecimal":             {"map: {a: 0x10}", "decimal notation"},
		"octal":                   {"map: {a: 010}", "decimal notation"},
		"brackets":                {"list: " + strings.Repeat("[", 60_000), "more than 16 deep"},
		"closed brackets":         {"list: " + strings.Repeat("[", 30_000) + strings.Repeat("]", 30_000), "more than 16 deep"},
		"brackets with texts":     {"list: " + strings.Repeat(`[ "]", `, 9_000), "more than 16 deep"},
		"braces":                  {"map: " + strings.Repeat("{a: ", 15_000), "more than 16 deep"},
		"both":                    {"map: " + strings.Repeat("[{a: ", 12_000), "more than 16 deep"},
		"dashes":                  {strings.Repeat("- ", 30_000), "more than 16 deep"},
		"question marks":          {strings.Repeat("? ", 30_000), ""},
		"indented":                {indented(300), "more than 16 deep"},
		"17":                      {"list: " + strings.Repeat("[", 17), "more than 16 deep"},
		"laughs":                  {laughs, "an anchor may stand for one text or number only"},
		"an anchored section":     {"map: &m\n  a: 1\n", "an anchor may stand"},
		"an anchored key":         {"map: &m\n  ? a\n  : 1\n", "an anchor may stand"},
		"an anchored list":        {"list: &l\n- a\n", "an anchor may stand"},
		"an anchored tagged list": {"list: &l !!seq [a]\n", "an anchor may stand"},
		"an anchored anchor":      {"list: &l &m [a]\n", "an anchor may stand"},
		"an anchor of nothing":    {"list: &l\n", "an anchor may stand"},
	} {
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		var s section
		err := DecodeYAML([]byte(c.text), &s)
		runtime.ReadMemStats(&after)
		var bound *BoundError
		if err == nil || c.want != "" && (!errors.As(err, &bound) || !strings.Contains(bound.GetMessage(), c.want) || bound.GetToken().Position.Line == 0) {
			t.Errorf("%s: error %v, want %q", name, err, c.want)
		}
		if took := after.TotalAlloc - before.TotalAlloc; took > 64<<20 {
			t.Errorf("%s: took %d bytes of memory", name, took)
		}
	}
}

// No text of a megabyte's thousandth takes more than its bounds allow, or ends the
// program.
func FuzzYAML(f *testing.F) {
	f.Add("name: x\nlist: [a, b]\n")
	f.Add("? &a [\n- *a\n--- !x {\"")
	f.Fuzz(func(t *testing.T, text string) {
		var s section
		_ = DecodeYAML([]byte(text[:min(len(text), 1000)]), &s)
	})
}
