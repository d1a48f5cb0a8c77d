package main

import (
	"bytes"
	"encoding/base64"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"go.uber.org/zap"
	"golang.org/x/net/html"

	"sweepd/agent"
	"sweepd/analysis"
	"sweepd/exporter"
	"sweepd/run"
	"sweepd/store/sqlite"
)

// pageTable is a table of the report with its numbers in full.
type pageTable struct {
	caption string
	heads   []string
	rows    [][]string // as data-exact has them, else the text
}

// column is a column of numbers; "" is unknown.
func (t *pageTable) column(name string) []string {
	i := slices.Index(t.heads, name)
	if i < 0 {
		return nil
	}
	var list []string
	for _, r := range t.rows {
		list = append(list, r[i])
	}
	return list
}

// readPage reads the tables and the embedded CSV of a report.
func readPage(t *testing.T, path string) (tables []pageTable, tidy string) {
	t.Helper()
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	root, err := html.Parse(bytes.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	for n := range root.Descendants() {
		switch {
		case n.Type == html.ElementNode && n.Data == "table":
			tables = append(tables, readTable(n))
		case n.Type == html.ElementNode && n.Data == "a" && attr(n, "download") != "":
			_, coded, _ := strings.Cut(attr(n, "href"), "base64,")
			raw, err := base64.StdEncoding.DecodeString(coded)
			if err != nil {
				t.Fatal(err)
			}
			tidy = string(raw)
		}
	}
	return tables, tidy
}

func readTable(table *html.Node) (t pageTable) {
	for n := range table.Descendants() {
		if n.Type != html.ElementNode {
			continue
		}
		switch n.Data {
		case "caption":
			t.caption = strings.ReplaceAll(inner(n), "\u00a0", " ")
		case "th":
			t.heads = append(t.heads, inner(n))
		case "tr":
			if n.Parent.Data == "tbody" {
				t.rows = append(t.rows, nil)
			}
		case "td":
			text := attr(n, "data-exact")
			if text == "" && !strings.Contains(attr(n, "class"), "n") {
				text = inner(n)
			}
			last := len(t.rows) - 1
			t.rows[last] = append(t.rows[last], text)
		}
	}
	return t
}

func attr(n *html.Node, key string) string {
	for _, a := range n.Attr {
		if a.Key == key {
			return a.Val
		}
	}
	return ""
}

func inner(n *html.Node) string {
	var b strings.Builder
	for c := range n.Descendants() {
		if c.Type == html.TextNode {
			b.WriteString(c.Data)
		}
	}
	return b.String()
}

// tableOf finds a table by words of its caption.
func tableOf(t *testing.T, tables []pageTable, words ...string) *pageTable {
	t.Helper()
	for i := range tables {
		if !slices.ContainsFunc(words, func(w string) bool { return !strings.Contains(tables[i].caption, w) }) {
			return &tables[i]
		}
	}
	t.Fatalf("no table whose caption has %q", words)
	return nil
}

// same wants a column to be those numbers, to the last digit.
func same(t *testing.T, where string, got []string, want []analysis.Number) {
	t.Helper()
	if len(got) != len(want) || len(got) == 0 {
		t.Errorf("%s: %d numbers in the report, %d in JSON", where, len(got), len(want))
		return
	}
	for i := range got {
		v, err := strconv.ParseFloat(got[i], 64)
		if err != nil && want[i].Known() || err == nil && v != float64(want[i]) {
			t.Errorf("%s, row %d: %q in the report, %v in JSON", where, i, got[i], float64(want[i]))
		}
	}
}

func collect[T any](list []T, of func(T) analysis.Number) []analysis.Number {
	var out []analysis.Number
	for _, x := range list {
		out = append(out, of(x))
	}
	return out
}

func parsed[T any](t *testing.T, args string) (v T) {
	t.Helper()
	if err := json.Unmarshal([]byte(must(t, strings.Fields(args)...)), &v); err != nil {
		t.Fatal(err)
	}
	return v
}

// TestReportAgreesWithCommandsAndMetrics holds the numbers of the report against
// the JSON of the commands, and both against the metrics, to the last digit.
func TestReportAgreesWithCommandsAndMetrics(t *testing.T) {
	data := alone(t)
	campaign(t, data)
	out := filepath.Join(t.TempDir(), "report")
	if said := must(t, "report", "--out", out); !strings.Contains(said, filepath.Join(out, "report.html")) {
		t.Errorf("said %q", said)
	}
	tables, tidy := readPage(t, filepath.Join(out, "report.html"))

	for _, by := range []string{"device", "supply"} {
		for _, c := range parsed[analysis.CompareResult](t, "compare --by "+by+" --json").Comparisons {
			words := []string{fmt.Sprintf("%s: %s (a) against %s (b = 100 %%)", c.Workload, c.A, c.B), "bounds hold"}
			for _, shared := range []*string{c.Device, c.Supply} {
				if shared != nil {
					words = append(words, *shared)
				}
			}
			table := tableOf(t, tables, words...)
			where := table.caption
			type row = analysis.SettingComparison
			mean := table.rows[len(table.rows)-1]
			table.rows = table.rows[:len(table.rows)-1]
			same(t, where+", mean", mean[5:8], []analysis.Number{c.OverallFollowed.Diff, c.OverallFollowed.Lower, c.OverallFollowed.Upper})
			same(t, where, table.column("a/b − 1, %"), collect(c.Settings, func(s row) analysis.Number { return s.Diff }))
			same(t, where, table.column("95 % from"), collect(c.Settings, func(s row) analysis.Number { return s.Lower }))
			same(t, where, table.column("to"), collect(c.Settings, func(s row) analysis.Number { return s.Upper }))
			same(t, where, table.column("mean a"), collect(c.Settings, func(s row) analysis.Number { return s.MeanA }))
			same(t, where, table.column("mean b"), collect(c.Settings, func(s row) analysis.Number { return s.MeanB }))
			same(t, where, table.column("setting"), collect(c.Settings, func(s row) analysis.Number { return s.SettingW }))
		}
	}
	for _, g := range parsed[analysis.CurveResult](t, "curve --json").Groups {
		table := tableOf(t, tables, strings.TrimSuffix(strings.Join([]string{g.Workload, g.Device, g.Supply, g.Variant}, ", "), ", ")+": ", "is better")
		type row = analysis.CurvePoint
		same(t, table.caption, table.column("mean"), collect(g.Points, func(p row) analysis.Number { return p.Mean }))
		same(t, table.caption, table.column("95 % from"), collect(g.Points, func(p row) analysis.Number { return p.Lower }))
		same(t, table.caption, table.column("package W"), collect(g.Points, func(p row) analysis.Number { return p.PackageW }))
		same(t, table.caption, table.column("per package W"), collect(g.Points, func(p row) analysis.Number { return p.PerPackageW }))
	}
	must(t, "report", "--out", out, "--full-energy", "50Wh")
	again, _ := readPage(t, filepath.Join(out, "report.html"))
	for _, g := range parsed[analysis.BatteryResult](t, "battery --json --full-energy 50Wh").Groups {
		table := tableOf(t, again, g.Workload+", "+g.Device, g.Variant, "battery of 50")
		same(t, table.caption, table.column("whole device W"), collect(g.Points, func(p analysis.BatteryPoint) analysis.Number { return p.SystemW }))
		same(t, table.caption, table.column("runtime h"), collect(g.Points, func(p analysis.BatteryPoint) analysis.Number { return p.RuntimeH }))
	}
	metricsAgree(t, data, tables)
	if want := must(t, "export", "--as", "csv", "--out", "-"); tidy != want {
		t.Errorf("the embedded CSV differs from the export:\n%.200s\n%.200s", tidy, want)
	}
}

// metricsAgree holds the exposed effect of the supply against the report.
func metricsAgree(t *testing.T, data string, tables []pageTable) {
	t.Helper()
	s, err := sqlite.Open(data, sqlite.Options{ReadOnly: true})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	m := exporter.New(&nothing{}, nil, exporter.Build{})
	if err := m.CompareSupplies(t.Context(), s, run.Run{}, zap.NewNop()); err != nil {
		t.Fatal(err)
	}
	families, err := m.Gatherer().Gather()
	if err != nil {
		t.Fatal(err)
	}
	compared := 0
	for _, f := range families {
		if f.GetName() != "sweepd_supply_effect_ratio" {
			continue
		}
		for _, x := range f.GetMetric() {
			l := map[string]string{}
			for _, p := range x.GetLabel() {
				l[p.GetName()] = p.GetValue()
			}
			table := tableOf(t, tables, l["workload"]+": battery (a) against mains (b = 100 %), "+l["device"])
			row := slices.Index(table.column("setting"), strings.TrimSuffix(l["setting"], "W"))
			head := map[string]string{"estimate": "a/b − 1, %", "lower": "95 % from", "upper": "to"}[l["bound"]]
			v, err := strconv.ParseFloat(table.column(head)[row], 64)
			if err != nil || 1+v != x.GetGauge().GetValue() {
				t.Errorf("%s %s: metric %v, report 1 + %v", l["setting"], l["bound"], x.GetGauge().GetValue(), v)
			}
			compared++
		}
	}
	if compared < 20 {
		t.Errorf("%d metrics compared", compared)
	}
}

// nothing is an agent that has not seen anything yet.
type nothing struct{ agent.Events }

func (*nothing) Snapshot(*agent.Snapshot) {}

// TestReportMisused tells apart what cannot be understood and what cannot be done.
func TestReportMisused(t *testing.T) {
	data := alone(t)
	out := filepath.Join(t.TempDir(), "report")
	for _, c := range []struct {
		args string
		code int
		says string
	}{
		{"report", exitUsage, "--out DIR"},
		{"report --out " + out + " --price oak", exitUsage, "unit-oak=749EUR"},
		{"report --out " + out + " --price a=1EUR --price b=2USD", exitUsage, "one currency"},
		{"report --out " + out, exitFailed, ""},
	} {
		o := sweepd(t, strings.Fields(c.args)...)
		if o.code != c.code || !strings.Contains(o.stderr, c.says) {
			t.Errorf("%s: exit %d, %s", c.args, o.code, o.stderr)
		}
	}
	campaign(t, data)
	for _, c := range []struct{ args, says string }{
		{"report --out " + out + " --run nosuchrun", "no such run"},
		{"report --out " + out + " --workload nothing", "nothing to report"},
		{"report --out " + out + " --metric nothing", `no selected run has the result "nothing": there is fps_mean`},
		{"report --out " + out + " --b unit-oka", `no run has the device "unit-oka": did you mean unit-oak?`},
		{"report --out " + out + " --b unit-ash", `no selected run is of the device "unit-ash", which the others are to be compared with: there is unit-elm and unit-oak`},
		{"report --out " + out + " --b unit-oak --device unit-elm", `no selected run is of the device "unit-oak"`},
	} {
		if o := sweepd(t, strings.Fields(c.args)...); o.code != exitFailed || !strings.Contains(o.stderr, c.says) {
			t.Errorf("%s: exit %d, %s", c.args, o.code, o.stderr)
		}
	}
	if _, err := os.Stat(out); err == nil {
		t.Error("a report that could not be made left a folder")
	}
}
