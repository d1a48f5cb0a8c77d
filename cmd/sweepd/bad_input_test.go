package main

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/rivo/uniseg"
)

// TestBadInput takes tables that no analysis can make much of through the whole
// program: a clear note or error, no panic, no NaN, 80 columns.
func TestBadInput(t *testing.T) {
	const head = "device,workload,variant,supply,setting_w,setting,package_w,system_w,score\n"
	both := func(row string) string { // the same rows for both devices
		return strings.ReplaceAll(row, "X", "unit-oak") + strings.ReplaceAll(row, "X", "unit-elm")
	}
	row := func(setting, score string) string {
		return "X,tile-sort,,battery," + setting + ",,10,20," + score + "\n"
	}
	var crowd strings.Builder
	for i := range 10_000 {
		fmt.Fprintf(&crowd, "X,tile-sort,,battery,15,,15,%d,%d\n", 20+i%3, 100+i%7)
	}
	for name, c := range map[string]struct {
		rows string
		says []string // one for each of compare, curve, battery: the output or the error has to say it
	}{
		"no common setting": {strings.ReplaceAll(row("10", "50")+row("10", "51"), "X", "unit-oak") + strings.ReplaceAll(row("15", "50")+row("15", "51"), "X", "unit-elm"),
			[]string{"the sides share no setting: nothing can be compared", "", ""}},
		"one run only": {strings.ReplaceAll(row("10", "50"), "X", "unit-oak"), []string{"a comparison needs two", "repeat each setting at least twice", "what the battery holds when full is not known"}},
		"one run each": {both(row("10", "50")), []string{"no intervals; repeat each setting at least twice", "", ""}},
		"zeros":        {both(row("10", "0") + row("15", "0")), []string{"score not finite, zero or negative", "no usable score", ""}},
		"negatives":    {both(row("10", "-5") + row("10", "50") + row("10", "51")), []string{"1 run left out: score not finite, zero or negative", "1 run left out", ""}},
		"equal values": {both(strings.Repeat(row("10", "50")+row("15", "60")+row("20", "70"), 3)), []string{"the two are level within 2 %", "It follows every setting tested", ""}},
		"huge":         {both(strings.Repeat(row("10", "1e308")+row("15", "1.1e308")+row("20", "1.2e308"), 3)), []string{"level within", "", ""}},
		"tiny":         {both(strings.Repeat(row("10", "1e-300")+row("15", "1.1e-300"), 3)), []string{"level within", "", ""}},
		"far apart":    {strings.ReplaceAll(row("10", "1e308")+row("10", "1.01e308"), "X", "unit-oak") + strings.ReplaceAll(row("10", "1e-300")+row("10", "1.01e-300"), "X", "unit-elm"), []string{"", "", ""}},
		"names without watts": {both(strings.Repeat("X,tile-sort,,battery,,quiet,,,50\nX,tile-sort,,battery,,loud,,,60\n", 2)),
			[]string{"settings without watts", "quiet", "usable power of the whole device"}},
		"neither watts nor names":   {both(strings.Repeat("X,tile-sort,,battery,,,,,50\n", 3)), []string{"", "", ""}},
		"10 000 runs in one cell":   {both(crowd.String()), []string{"level within", "10000", "10000"}},
		"system watts of zero":      {both(strings.Repeat("X,tile-sort,,battery,10,,0,0,50\n", 3)), []string{"", "", "usable power"}},
		"charging, negative system": {both(strings.Repeat("X,tile-sort,,battery,10,,5,-12,50\n", 3)), []string{"", "", "usable power"}},
	} {
		t.Run(name, func(t *testing.T) {
			file := filepath.Join(alone(t), "bad.csv")
			if err := os.WriteFile(file, []byte(head+c.rows), 0o600); err != nil {
				t.Fatal(err)
			}
			must(t, "import", file)
			for i, args := range []string{"compare --by device", "curve", "battery"} {
				o := sweepd(t, strings.Fields(args)...)
				legible(t, args, o, c.says[i])
			}
			for _, args := range []string{"compare --by device --at package", "compare --by device --at system", "compare --by device --per package",
				"compare --by device --price unit-oak=2 --price unit-elm=1", "battery --full-energy 50Wh --reserve 5%", "curve --noise 1%"} {
				legible(t, args, sweepd(t, strings.Fields(args)...), "")
			}
		})
	}
}

var notANumber = regexp.MustCompile(`(?i)\bnan\b|[^a-z]inf\b|%!`)

func legible(t *testing.T, args string, o outcome, says string) {
	t.Helper()
	if o.code != exitOK && o.code != exitFailed || o.code == exitFailed && (o.out != "" || o.stderr == "") {
		t.Errorf("%s: exit %d, %q, %q", args, o.code, o.out, o.stderr)
	}
	all := o.out + o.stderr
	if flowing := strings.Join(strings.Fields(all), " "); !strings.Contains(flowing, says) {
		t.Errorf("%s lacks %q:\n%s", args, says, all)
	}
	for line := range strings.Lines(o.out) {
		if uniseg.StringWidth(strings.TrimRight(line, "\n")) > 80 || notANumber.MatchString(line) {
			t.Errorf("%s: %s", args, line)
		}
	}
	asJSON := sweepd(t, append(strings.Fields(args), "--json")...)
	if asJSON.code != o.code {
		t.Errorf("%s --json: exit %d, without it %d", args, asJSON.code, o.code)
	}
	if asJSON.code == exitOK && (!json.Valid([]byte(asJSON.out)) || notANumber.MatchString(asJSON.out)) {
		t.Errorf("%s --json: %.300s", args, asJSON.out)
	}
}

// TestBadTables are refused whole, with the place and the text.
func TestBadTables(t *testing.T) {
	const head = "device,workload,setting_w,started_at,score\n"
	good := "unit-oak,tile-sort,10,2026-05-04T08:00:00Z,50\n"
	for row, says := range map[string]string{
		"unit-oak,tile-sort,10,,NaN\n":        `line 3, column score: "NaN"`,
		"unit-oak,tile-sort,10,,Inf\n":        `line 3, column score: "Inf"`,
		"unit-oak,tile-sort,10,,1e309\n":      `line 3, column score: "1e309"`,
		"unit-oak,tile-sort,10,,fast\n":       `line 3, column score: "fast"`,
		"unit-oak,tile-sort,-10,,50\n":        `line 3, column setting_w: "-10"`,
		"unit-oak,tile-sort,10,yesterday,5\n": `line 3, column started_at: "yesterday"`,
		",tile-sort,10,,50\n":                 `line 3, column device: ""`,
		"unit-oak,tile-sort,10\n":             "line 3",
	} {
		data := alone(t)
		file := filepath.Join(data, "bad.csv")
		if err := os.WriteFile(file, []byte(head+good+row), 0o600); err != nil {
			t.Fatal(err)
		}
		o := sweepd(t, "import", file)
		if o.code != exitFailed || !strings.Contains(o.stderr, says) || !strings.Contains(o.stderr, "bad.csv") {
			t.Errorf("%q: exit %d, %s, want %q", row, o.code, o.stderr, says)
		}
		if list := sweepd(t, "run", "list", "--json"); strings.Contains(list.out, "tile-sort") {
			t.Errorf("%q: the good row was taken: %s", row, list.out)
		}
	}
}

// TestImportedEdgesStay exports numbers at the edge of their type and takes them
// back without loss.
func TestImportedEdgesStay(t *testing.T) {
	data := alone(t)
	file, back := filepath.Join(data, "edge.csv"), filepath.Join(data, "back.csv")
	table := fmt.Sprintf("device,workload,setting_w,score\nunit-oak,tile-sort,10,%v\nunit-oak,tile-sort,10,%v\nunit-oak,tile-sort,10,-0.1\n", math.MaxFloat64, math.SmallestNonzeroFloat64)
	if err := os.WriteFile(file, []byte(table), 0o600); err != nil {
		t.Fatal(err)
	}
	must(t, "import", file)
	must(t, "export", "--as", "csv", "--out", back)
	before := must(t, "run", "list", "--json")
	t.Setenv("SWEEPD_DATA", t.TempDir())
	must(t, "import", back)
	if after := must(t, "run", "list", "--json"); after != before {
		t.Errorf("before\n%s\nafter\n%s", before, after)
	}
	if out := must(t, "import", back); !strings.Contains(out, "0 runs added, 3 were here already") {
		t.Errorf("again: %s", out)
	}
}
