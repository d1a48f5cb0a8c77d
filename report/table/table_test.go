package table

import (
	"testing"

	"github.com/google/go-cmp/cmp"

	"sweepd/analysis"
)

// shown is a table as a medium shows it.
func shown(t *Table, m Medium) (caption string, lines [][]string) {
	on := t.On(m)
	var heads []string
	for _, c := range on.Columns {
		heads = append(heads, c.Head)
	}
	lines = [][]string{heads}
	for _, row := range on.Rows {
		var texts []string
		for _, c := range row {
			texts = append(texts, c.Text)
		}
		lines = append(lines, texts)
	}
	return on.Caption, lines
}

// Each medium has its own words, its own columns, and leaves out what says nothing
// there: blank cells on a terminal, dashes on the page. The table stays as it was.
func TestMediaDiffer(t *testing.T) {
	unknown := analysis.Unknown()
	table := &Table{Caption: "short", PageCaption: "in full", Columns: []Column{
		{Head: "W", PageHead: "setting"}, {Head: "runs", Only: Terminal}, {Head: "p", Only: Page}, {Head: "mean"},
		{Head: "package W", Optional: Terminal | Page}, {Head: "to", Optional: Page}, {Head: "more", Optional: Terminal}, {Head: "kept"},
	}}
	table.Row(setting(25, ""), Text("3/3"), probability(0.0001), quantity(0.0000003, 3), significant(unknown), Number(unknown, 1), Text(""), Number(unknown, 1))
	table.Row(setting(unknown, "quiet"), Text("3/2"), probability(0.25), quantity(2, 3), significant(unknown), Number(unknown, 1), Text(""), Text(""))
	before := *table
	for m, want := range map[Medium][][]string{
		Terminal: {{"W", "runs", "mean", "to", "kept"}, {"25", "3/3", "3.000e-07", "–", "–"}, {"quiet", "3/2", "2.000", "–", ""}},
		Page:     {{"setting", "p", "mean", "more", "kept"}, {"25 W", "< 0.001", "0.000", "", "–"}, {"quiet", "0.250", "2.000", "", ""}},
	} {
		caption, got := shown(table, m)
		if wantCaption := map[Medium]string{Terminal: "short", Page: "in full"}[m]; caption != wantCaption {
			t.Errorf("medium %d: caption %q, want %q", m, caption, wantCaption)
		}
		if d := cmp.Diff(want, got); d != "" {
			t.Errorf("medium %d: %s", m, d)
		}
	}
	if d := cmp.Diff(before, *table); d != "" {
		t.Errorf("showing a table changed it: %s", d)
	}
	if e := table.On(Page).Rows[0][2].Exact; e != "3e-07" {
		t.Errorf("the page keeps %q in full", e)
	}
}

// A row may end early, and one cell that says something keeps its column.
func TestOneCellKeepsAColumn(t *testing.T) {
	table := &Table{Columns: []Column{{Head: "a"}, {Head: "b", Optional: Terminal | Page}}}
	table.Row(Text("1"))
	table.Row(Text("2"), Number(4, 0))
	for _, m := range []Medium{Terminal, Page} {
		if _, got := shown(table, m); len(got[0]) != 2 || got[1][1] != "" || got[2][1] != "4" {
			t.Errorf("medium %d: %q", m, got)
		}
	}
}
