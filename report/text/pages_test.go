package text

import (
	"errors"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"sweepd/analysis"
	"sweepd/report/table"
)

func ref(s string) *string { return &s }

// written is what one of the pages writes, line by line.
func written(t *testing.T, write func(w *strings.Builder) error) []string {
	t.Helper()
	var b strings.Builder
	if err := write(&b); err != nil {
		t.Fatal(err)
	}
	return strings.Split(strings.TrimSuffix(b.String(), "\n"), "\n")
}

// Two comparisons with a line between them, then what holds over both, then the notes. The
// decimals: a half width of 10 % is 7.1 % of one side's mean, 8.5 of 120.
func TestComparePage(t *testing.T) {
	comparison := func(workload string, more int) analysis.Comparison {
		return analysis.Comparison{Workload: workload, A: "oak", B: "elm", Metric: "score", Better: "higher", At: analysis.AtSetting, Margin: 0.02, Confidence: 0.95,
			Settings:    []analysis.SettingComparison{{SettingW: 10, NA: 2, NB: 2, MeanA: 120, MeanB: 100, Diff: 0.2, Lower: 0.1, Upper: 0.3, Verdict: analysis.VerdictA, MoreRuns: &more}},
			Bands:       []analysis.Band{{FromW: 10, ToW: 10, Verdict: analysis.VerdictA, Diff: 0.2, Lower: 0.1, Upper: 0.3}},
			Confounders: []analysis.Note{{Code: analysis.ConfounderDevices, Names: []string{"memory_total_bytes"}}}, Notes: []analysis.Note{{Code: analysis.NoteNoiseDeclared}}}
	}
	r := analysis.CompareResult{Comparisons: []analysis.Comparison{comparison("tile-sort", 0), comparison("harbour-flight", 3)},
		Across: &analysis.Across{Workloads: 2, Better: "higher", Diff: 0.2, Lower: 0.1, Upper: 0.3, Verdict: analysis.VerdictA}, Notes: []analysis.Note{{Code: analysis.NoteSeveralPairs}}}
	one := func(workload string, more ...string) []string {
		heads, row := "     W  runs    oak    elm  a/b %  95 % from     to  ahead", "    10   2/2  120.0  100.0  +20.0      +10.0  +30.0  oak"
		heads, row = strings.TrimLeft(heads, " "), strings.TrimLeft(row, " ")
		heads = " " + heads
		if len(more) > 0 {
			heads, row = heads+"  more runs", row+"            "+more[0]
		}
		return []string{workload + ": oak (a) against elm (b = 100 %), score, higher is better", heads, row,
			"At 10 W oak is ahead by 20.0 % (10.0 to 30.0).",
			"besides: the devices differ in memory (`sweepd run show` lists the facts)",
			"note: no repeats: how much runs differ by chance is what was declared"}
	}
	var want []string
	want = append(append(append(want, one("tile-sort")...), ""), one("harbour-flight", "3")...)
	want = append(want, "", "Over 2 workloads, oak against elm (elm = 100 %): oak is ahead by 20.0 % (10.0 to 30.0).", "More runs are for each side at each setting: they find a difference of 3 % with a chance of 80 %; a smaller one may stay open.",
		"note: several pairs of sides were compared: each is summed up over its workloads by itself")
	o := Options{Width: 200}
	if d := cmp.Diff(want, written(t, func(w *strings.Builder) error { return Compare(w, r, o) })); d != "" {
		t.Errorf("over both: %s", d)
	}
	// Several pairs are summed up each by itself, and no more runs are advised.
	r.Comparisons, r.Across, r.Notes = r.Comparisons[:1], nil, nil
	r.AcrossPairs = []analysis.AcrossPair{{A: "oak", B: "elm", Supply: ref("mains"), Across: analysis.Across{Workloads: 2, Better: "higher", Diff: 0.2, Lower: 0.1, Upper: 0.3, Verdict: analysis.VerdictA}},
		{A: "oak", B: "elm", Supply: ref("battery"), Across: analysis.Across{Workloads: 3, Better: "higher", Diff: 0.2, Lower: 0.1, Upper: 0.3, Verdict: analysis.VerdictA}}}
	want = append(one("tile-sort"), "mains: Over 2 workloads, oak against elm (elm = 100 %): oak is ahead by 20.0 % (10.0 to 30.0).", "battery: Over 3 workloads, oak against elm (elm = 100 %): oak is ahead by 20.0 % (10.0 to 30.0).")
	if d := cmp.Diff(want, written(t, func(w *strings.Builder) error { return Compare(w, r, o) })); d != "" {
		t.Errorf("by pairs: %s", d)
	}
	// Where all pairs are summed up together, each is not said again.
	r.Across = &r.AcrossPairs[0].Across
	want = append(one("tile-sort"), "", "Over 2 workloads, oak against elm (elm = 100 %): oak is ahead by 20.0 % (10.0 to 30.0).")
	if d := cmp.Diff(want, written(t, func(w *strings.Builder) error { return Compare(w, r, o) })); d != "" {
		t.Errorf("together: %s", d)
	}
}

// Two curves, two batteries, two prices: each group with a line before it but the first,
// notes of a group behind it and those of all at the end.
func TestPagesOfGroups(t *testing.T) {
	u := analysis.Unknown()
	curve := func(device string) analysis.CurveGroup {
		return analysis.CurveGroup{Workload: "tile-sort", Device: device, KneeW: u, Enough: analysis.Enough{AtW: 10, FromW: 8, ToW: 10, Share: 0.95}, Effective: analysis.Effective{FromW: u, ToW: u}, Efficiency: analysis.Efficiency{PeakW: u},
			Points:     []analysis.CurvePoint{{SettingW: 10, N: 2, Mean: 60, Lower: 58, Upper: 62, PackageW: u, SystemW: u, PerPackageW: u, PerSystemW: u, PerSettingW: u}},
			Departures: []analysis.DepartureAt{{SettingW: 10, Change: -0.1, PAdjusted: 0.01}}, Notes: []analysis.Note{{Code: analysis.NoteNoiseDeclared}}}
	}
	curves := analysis.CurveResult{Metric: "score", Better: "higher", Confidence: 0.95, Groups: []analysis.CurveGroup{curve("unit-oak"), curve("unit-elm")}, Notes: []analysis.Note{{Code: analysis.NoteSeveralPairs}}}
	battery := func(device string) analysis.BatteryGroup {
		return analysis.BatteryGroup{Workload: "tile-sort", Device: device, FullEnergyWh: u, Overhead: analysis.Overhead{InterceptW: u},
			Points: []analysis.BatteryPoint{{SettingW: 10, N: 2, SystemW: 12, Lower: 11, Upper: 13, RuntimeH: 4, RuntimeLowerH: 3.5, RuntimeUpperH: 4.5}},
			Gains:  []analysis.RuntimeGain{{Variant: "cores=6", SettingW: 10, Minutes: 20, Lower: 10, Upper: 30, Significant: true}}, Notes: []analysis.Note{{Code: analysis.NoteNoiseDeclared}}}
	}
	batteries := analysis.BatteryResult{Confidence: 0.95, Groups: []analysis.BatteryGroup{battery("unit-oak"), battery("unit-elm")}, Notes: []analysis.Note{{Code: analysis.NoteSeveralPairs}}}
	value := func(workload string) analysis.DeviceValue {
		point := analysis.ValuePoint{SettingW: 10, Diff: 0.1, DiffLower: 0.08, DiffUpper: 0.12, DiffPer100: 5, DiffPer100Lower: 4, DiffPer100Upper: 6, ForPrice: -0.175, ForPriceLower: -0.19, ForPriceUpper: -0.16, Significant: true}
		return analysis.DeviceValue{Workload: workload, Metric: "score", A: "unit-elm", B: "unit-oak", Dearer: "unit-elm", Cheaper: "unit-oak", PriceDearer: 800, PriceCheaper: 600, PriceDifference: 200, Confidence: 0.95,
			Settings: []analysis.ValuePoint{point}, Overall: &point}
	}
	values := analysis.ValueResult{Currency: "EUR", Values: []analysis.DeviceValue{value("tile-sort"), value("harbour-flight")}, Notes: []analysis.Note{{Code: analysis.NoteSeveralPairs}}}
	const declared, pairs = "note: no repeats: how much runs differ by chance is what was declared", "note: several pairs of sides were compared: each is summed up over its workloads by itself"
	o := Options{Width: 300}
	for _, c := range []struct {
		name  string
		write func(*strings.Builder) error
		group func(i int) []string
	}{
		{"curves", func(w *strings.Builder) error { return Curve(w, curves, o) }, func(i int) []string {
			return []string{"tile-sort, " + []string{"unit-oak", "unit-elm"}[i] + ", score, higher is better",
				" W  runs  mean  95 % from    to", "10     2  60.0       58.0  62.0",
				"95 % of the best needs 8 to 10 W.", "At 10 W the result dips below the trend: -10.0 %, more than noise.",
				"Run 10 W again, or look for what holds it down.", declared}
		}},
		{"batteries", func(w *strings.Builder) error { return Battery(w, batteries, o) }, func(i int) []string {
			return []string{"tile-sort, " + []string{"unit-oak", "unit-elm"}[i],
				" W  runs  system W  95 % from    to  runtime h  95 % from    to", "10     2      12.0       11.0  13.0       4.00       3.50  4.50",
				"With no variant the battery lasts longer than with cores=6, by 20 min (10 to 30) at 10 W.",
				" W  longer than  min  95 % from  to  more than noise", "10  cores=6       20         10  30  yes", declared}
		}},
		{"prices", func(w *strings.Builder) error { return Value(w, values, o) }, func(i int) []string {
			return []string{[]string{"tile-sort", "harbour-flight"}[i] + ": price and result of unit-elm (a) against unit-oak (b = 100 %), score",
				" W  a/b %  95 % from     to  % per 100 EUR  a for its price %  more than noise", "10  +10.0       +8.0  +12.0           +5.0              -17.5  yes",
				"unit-elm costs 200 EUR more than unit-oak (800 EUR against 600 EUR) and is ahead by 10.0 % (8.0 to 12.0) on the mean over all shared settings; that is 5.0 % (4.0 to 6.0) for each 100 EUR.",
				"For its price unit-elm gives 17.5 % (16.0 to 19.0) less than unit-oak."}
		}},
	} {
		want := append(append(append(c.group(0), ""), c.group(1)...), pairs)
		if d := cmp.Diff(want, written(t, c.write)); d != "" {
			t.Errorf("%s (-want +got):\n%s", c.name, d)
		}
	}
}

// full is a writer that takes so many writes.
type full struct{ left int }

var errFull = errors.New("no space left")

func (f *full) Write(p []byte) (int, error) {
	if f.left--; f.left < 0 {
		return 0, errFull
	}
	return len(p), nil
}

// What could not be written is said, wherever it happened, and nothing is written after it.
func TestPageSaysThatItCouldNotWrite(t *testing.T) {
	shown := &table.Table{Caption: "caption", Columns: []table.Column{{Head: "W"}}}
	shown.Row(table.Text("10"))
	for left := range 4 {
		w := &full{left: left}
		p := &Printer{Out: w}
		p.Say("first", "  ", Plain)
		p.Line("")
		p.Table(shown)
		if !errors.Is(p.Err, errFull) || w.left != -1 {
			t.Errorf("after %d writes: %v, and %d writes after it", left, p.Err, -1-w.left)
		}
	}
	p := &Printer{Out: &full{left: 4}}
	p.Say("first", "  ", Plain)
	p.Line("")
	p.Table(shown)
	if p.Err != nil {
		t.Error(p.Err)
	}
}

// What can be done behind each note: in the singular and in the plural.
func TestAdviceCounts(t *testing.T) {
	for _, c := range []struct {
		note analysis.Note
		want string
	}{
		{analysis.Note{Code: analysis.NoteUnlikeRepeats, Count: 1}, "; look at it (`sweepd run show`) and reject it if you can explain it"},
		{analysis.Note{Code: analysis.NoteUnlikeRepeats, Count: 2}, "; look at them (`sweepd run show`) and reject those that you can explain"},
		{analysis.Note{Code: analysis.NoteSingleRunDepartures, Count: 1}, ": repeat it"},
		{analysis.Note{Code: analysis.NoteSingleRunDepartures, Count: 2}, ": repeat them"},
		{analysis.Note{Code: analysis.NoteNoUsableResult, Names: []string{"fps_mean"}}, " (ask with --metric)"},
		{analysis.Note{Code: analysis.NoteNoUsableResult}, ""},
		{analysis.Note{Code: analysis.NoteDaysLeftOut}, ": only interleaving their runs helps"},
		{analysis.Note{Code: analysis.NoteSlowRunUnseen}, "; three runs help"},
		{analysis.Note{Code: analysis.NoteNoiseDeclared}, ""},
	} {
		if got := advice(c.note); got != c.want {
			t.Errorf("%s: got %q, want %q", c.note.Code, got, c.want)
		}
	}
}
