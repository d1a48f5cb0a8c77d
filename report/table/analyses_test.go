package table

import (
	"testing"

	"github.com/google/go-cmp/cmp"

	"sweepd/analysis"
	"sweepd/report/sentence"
)

// is compares what a medium shows with what it should.
func is(t *testing.T, what string, table *Table, m Medium, caption string, want ...[]string) {
	t.Helper()
	gotCaption, got := shown(table, m)
	if gotCaption != caption {
		t.Errorf("%s, medium %d: caption %q, want %q", what, m, gotCaption, caption)
	}
	if d := cmp.Diff(want, got); d != "" {
		t.Errorf("%s, medium %d (-want +got):\n%s", what, m, d)
	}
}

// onRight are the heads of the columns at the right edge.
func onRight(table *Table, m Medium) []string {
	var heads []string
	for _, c := range table.On(m).Columns {
		if c.Right || c.Point {
			heads = append(heads, c.Head)
		}
	}
	return heads
}

// tones are those of a column on a terminal.
func tones(table *Table, head string) []sentence.Tone {
	var list []sentence.Tone
	for i, c := range table.Columns {
		if c.Head == head {
			for _, row := range table.Rows {
				list = append(list, row[i].Tone)
			}
		}
	}
	return list
}

// two is a comparison of two settings: 120/100 and 110/110, one of which cannot be told.
func two() *analysis.Comparison {
	more, none := 4, 0
	return &analysis.Comparison{Workload: "tile-sort", A: "oak", B: "elm", Metric: "fps_mean", Unit: "fps", Better: "higher", At: analysis.AtSetting, Margin: 0.02, Confidence: 0.95, NoiseA: 0.01, NoiseB: 0.1,
		Settings: []analysis.SettingComparison{
			{SettingW: 10, NA: 4, NB: 1, MeanA: 120, MeanB: 100, Diff: 0.2, Lower: 0.1, Upper: 0.3, PAdjusted: 0.0002, Verdict: analysis.VerdictA, MoreRuns: &none},
			{SettingW: 12.5, NA: 4, NB: 1, MeanA: 110, MeanB: 110, Diff: 0, Lower: -0.05, Upper: 0.06, PAdjusted: 0.25, Verdict: analysis.VerdictUnclear, MoreRuns: &more},
		}}
}

// Decimals by hand. On a terminal: half of the interval of the difference is 10 % and 5.5 %,
// of one side's mean that over the root of 2: at most 120 x 7.1 % = 8.5, which shows two
// digits with one decimal. On the page: oak's own noise is 1 % of 120 over the root of 4
// runs, 0.6, two decimals (two digits of the largest); elm's is 10 % of 110, 11, none.
func TestCompareTable(t *testing.T) {
	c := two()
	const title = "tile-sort: oak (a) against elm (b = 100 %), mean frame rate, fps, higher is better"
	is(t, "two settings", Compare(c), Terminal, title,
		[]string{"W", "runs", "oak fps", "elm fps", "a/b %", "95 % from", "to", "ahead", "more runs"},
		[]string{"10", "4/1", "120.0", "100.0", "+20.0", "+10.0", "+30.0", "oak", ""},
		[]string{"12.5", "4/1", "110.0", "110.0", "0.0", "-5.0", "+6.0", "unclear", "4"})
	is(t, "two settings", Compare(c), Page, title+"; margin 2 %; bounds hold at all settings together",
		[]string{"setting", "runs a", "runs b", "mean a", "mean b", "a/b − 1, %", "95 % from", "to", "p, adjusted", "ahead", "more runs needed"},
		[]string{"10 W", "4", "1", "120.00", "100", "+20.0", "+10.0", "+30.0", "< 0.001", "oak", ""},
		[]string{"12.5 W", "4", "1", "110.00", "110", "0.0", "-5.0", "+6.0", "0.250", "unclear", "4"})
	if d := cmp.Diff([]string{"setting", "runs a", "runs b", "mean a", "mean b", "a/b − 1, %", "95 % from", "to", "p, adjusted", "more runs needed"}, onRight(Compare(c), Page)); d != "" {
		t.Errorf("numbers at the right edge of the page: %s", d)
	}
	if d := cmp.Diff([]string{"W", "runs", "oak fps", "elm fps", "a/b %", "95 % from", "to", "more runs"}, onRight(Compare(c), Terminal)); d != "" {
		t.Errorf("numbers at the right edge of a terminal: %s", d)
	}
	var exact []string
	for _, cell := range Compare(c).On(Page).Rows[1] {
		exact = append(exact, cell.Exact)
	}
	if d := cmp.Diff([]string{"12.5", "4", "1", "110", "110", "0", "-0.05", "0.06", "0.25", "", "4"}, exact); d != "" {
		t.Errorf("in full: %s", d)
	}
	if d := cmp.Diff([]sentence.Tone{sentence.Good, sentence.Doubtful}, tones(Compare(c), "ahead")); d != "" {
		t.Errorf("tones: %s", d)
	}
	c.Settings[0].Verdict, c.Settings[1].Verdict = analysis.VerdictB, analysis.VerdictTie
	if d := cmp.Diff([]sentence.Tone{sentence.Good, sentence.Plain}, tones(Compare(c), "ahead")); d != "" {
		t.Errorf("tones of b and a tie: %s", d)
	}

	// The mean stands below, that over the settings that both keep to where there are others.
	c.Overall = &analysis.Overall{Diff: 0.095, Lower: 0.04, Upper: 0.15, Verdict: analysis.VerdictA}
	no := false
	for _, followed := range []*bool{nil, &no} {
		c.Settings[1].Followed = followed
		c.OverallFollowed = &analysis.Overall{Diff: 0.2, Lower: 0.1, Upper: 0.3, Verdict: analysis.VerdictA}
		want := []string{"mean", "", "", "", "+9.5", "+4.0", "+15.0", "oak", ""}
		if followed != nil {
			want = []string{"mean", "", "", "", "+20.0", "+10.0", "+30.0", "oak", ""}
		}
		rows := Compare(c).On(Terminal).Rows
		var last []string
		for _, cell := range rows[len(rows)-1] {
			last = append(last, cell.Text)
		}
		if d := cmp.Diff(want, last); len(rows) != 3 || d != "" {
			t.Errorf("%d rows, the mean: %s", len(rows), d)
		}
	}
	c.Overall, c.OverallFollowed, c.Settings[1].Followed = nil, nil, nil

	// All in one column have as many decimals as the narrowest interval needs: +-0.2 % two.
	c.Settings = c.Settings[:1]
	c.Settings[0].Lower, c.Settings[0].Upper, c.Settings[0].PAdjusted, c.Settings[0].MoreRuns = 0.198, 0.202, 0.001, nil
	is(t, "narrow bounds", Compare(c), Page, title+"; margin 2 %; bounds hold at all settings together",
		[]string{"setting", "runs a", "runs b", "mean a", "mean b", "a/b − 1, %", "95 % from", "to", "p, adjusted", "ahead", "more runs needed"},
		[]string{"10 W", "4", "1", "120.00", "100", "+20.00", "+19.80", "+20.20", "0.001", "elm", ""})
}

// The heads of the sides' columns are their names and the unit where that is short enough:
// 13 columns, 9 where the axis has a long head itself.
func TestHeadsOfSides(t *testing.T) {
	for _, c := range []struct{ a, b, unit, per, at, headA, headB, axis string }{
		{"oak", "elm", "fps", "", analysis.AtSetting, "oak fps", "elm fps", "W"},
		{"oak", "elm", "", "", analysis.AtSetting, "oak", "elm", "W"},
		{"oak", "elm", "fps", analysis.AtPackage, analysis.AtSetting, "oak", "elm", "W"}, // fps per watt is not fps
		{"thirteen-long", "elm", "", "", analysis.AtSetting, "thirteen-long", "elm", "W"},
		{"fourteen--long", "elm", "", "", analysis.AtSetting, "mean a", "mean b", "W"},
		{"elm", "fourteen--long", "", "", analysis.AtSetting, "mean a", "mean b", "W"},
		{"thirteen-long", "elm", "fps", "", analysis.AtSetting, "a fps", "b fps", "W"},
		{"thirteen-long", "elm", "fps", analysis.AtSystem, analysis.AtSetting, "thirteen-long", "elm", "W"},
		{"oak", "elm", "of-a-long-unit", "", analysis.AtSetting, "mean a", "mean b", "W"},
		{"nine-long", "elm", "", "", analysis.AtPackage, "nine-long", "elm", "package W"},
		{"ten--long", "elm", "fps", "", analysis.AtSystem, "a fps", "b fps", "system W"},
		{"ten---long", "elm", "", "", analysis.AtSystem, "mean a", "mean b", "system W"},
		{"長い名前長い", "elm", "", "", analysis.AtSetting, "長い名前長い", "elm", "W"}, // 12 columns
		{"長い名前長い名", "elm", "", "", analysis.AtSetting, "mean a", "mean b", "W"},
	} {
		x := two()
		x.A, x.B, x.Unit, x.Per, x.At = c.a, c.b, c.unit, c.per, c.at
		columns := Compare(x).Columns
		if got, want := [3]string{columns[0].Head, columns[4].Head, columns[5].Head}, [3]string{c.axis, c.headA, c.headB}; got != want {
			t.Errorf("%+v: got %q, want %q", c, got, want)
		}
		if least := columns[0].Least; least != max(6, len(c.axis)) {
			t.Errorf("%+v: the axis may be as narrow as %d", c, least)
		}
	}
}

// Measured watts have a decimal, so that they stand in line; a name stays one.
func TestCompareTableAtMeasuredWatts(t *testing.T) {
	c := two()
	c.At = analysis.AtPackage
	c.Settings[1].SettingW, c.Settings[1].Setting = analysis.Unknown(), "quiet"
	rows := Compare(c).On(Terminal).Rows
	if rows[0][0].Text != "10.0" || rows[1][0].Text != "quiet" {
		t.Errorf("got %q and %q", rows[0][0].Text, rows[1][0].Text)
	}
}

// curve is a group with package watts at both settings and nothing of the whole device.
func curve() (*analysis.CurveResult, *analysis.CurveGroup) {
	u := analysis.Unknown()
	r := &analysis.CurveResult{Metric: "fps_mean", Unit: "fps", Better: "higher", Confidence: 0.95}
	return r, &analysis.CurveGroup{Workload: "tile-sort", Device: "unit-oak", Supply: "mains", Variant: "cores=6", Noise: 0.0123, Efficiency: analysis.Efficiency{By: analysis.ByPackage}, Points: []analysis.CurvePoint{
		{SettingW: 10, N: 3, Mean: 60, Lower: 58, Upper: 62, PackageW: 12, SystemW: u, PerPackageW: 5, PerSystemW: u, PerSettingW: 6},
		{SettingW: 25, N: 1, Mean: 100, Lower: 97, Upper: 103, PackageW: 25, SystemW: u, PerPackageW: 4, PerSystemW: u, PerSettingW: 4},
	}}
}

// Half widths of 2 and 3 show two digits with one decimal; watts have three digits.
func TestCurveTable(t *testing.T) {
	r, g := curve()
	const title = "mean frame rate, fps, higher is better"
	is(t, "by package", Curve(r, g), Terminal, "tile-sort, unit-oak, mains, cores=6, "+title,
		[]string{"W", "runs", "mean fps", "95 % from", "to", "package W", "per package W"},
		[]string{"10", "3", "60.0", "58.0", "62.0", "12.0", "5.00"}, []string{"25", "1", "100.0", "97.0", "103.0", "25.0", "4.00"})
	is(t, "by package", Curve(r, g), Page, "tile-sort, unit-oak, mains, cores=6: "+title+"; one run differs from the next by 1.23 % (standard deviation)",
		[]string{"setting", "runs", "mean", "95 % from", "to", "package W", "per package W", "per set W"},
		[]string{"10 W", "3", "60.0", "58.0", "62.0", "12.0", "5.00", "6.00"}, []string{"25 W", "1", "100.0", "97.0", "103.0", "25.0", "4.00", "4.00"})
	for _, m := range []Medium{Terminal, Page} { // all are numbers
		if d := cmp.Diff(len(Curve(r, g).On(m).Columns), len(onRight(Curve(r, g), m))); d != "" {
			t.Errorf("medium %d, at the right edge: %s", m, d)
		}
	}
	// Neither unit nor noise nor package watts; by set watts.
	u := analysis.Unknown()
	r.Unit, g.Noise, g.Efficiency.By = "", u, analysis.BySetting
	for i := range g.Points {
		g.Points[i].PackageW, g.Points[i].PerPackageW = u, u
	}
	is(t, "by set watts", Curve(r, g), Terminal, "tile-sort, unit-oak, mains, cores=6, mean frame rate, higher is better",
		[]string{"W", "runs", "mean", "95 % from", "to", "per set W"}, []string{"10", "3", "60.0", "58.0", "62.0", "6.00"}, []string{"25", "1", "100.0", "97.0", "103.0", "4.00"})
	is(t, "by set watts", Curve(r, g), Page, "tile-sort, unit-oak, mains, cores=6: mean frame rate, higher is better",
		[]string{"setting", "runs", "mean", "95 % from", "to", "per set W"}, []string{"10 W", "3", "60.0", "58.0", "62.0", "6.00"}, []string{"25 W", "1", "100.0", "97.0", "103.0", "4.00"})
}

// Of the whole device.
func TestCurveTableOfTheWholeDevice(t *testing.T) {
	r, g := curve()
	g.Efficiency.By = analysis.BySystem
	g.Points = g.Points[:1]
	g.Points[0].SystemW, g.Points[0].PerSystemW = 20, 3
	is(t, "by system", Curve(r, g), Terminal, "tile-sort, unit-oak, mains, cores=6, mean frame rate, fps, higher is better",
		[]string{"W", "runs", "mean fps", "95 % from", "to", "package W", "system W", "per system W"}, []string{"10", "3", "60.0", "58.0", "62.0", "12.0", "20.0", "3.00"})
	is(t, "by system", Curve(r, g), Page, "tile-sort, unit-oak, mains, cores=6: mean frame rate, fps, higher is better; one run differs from the next by 1.23 % (standard deviation)",
		[]string{"setting", "runs", "mean", "95 % from", "to", "package W", "whole device W", "per package W", "per whole-device W", "per set W"},
		[]string{"10 W", "3", "60.0", "58.0", "62.0", "12.0", "20.0", "5.00", "3.00", "6.00"})
}

// Where less is better: 60 s at 12 W are 720 J, the package's share of a job. Its
// quotient is 60 / 12 = 5, and the page has none of them.
func TestCurveTableOfATime(t *testing.T) {
	r, g := curve()
	r.Metric, r.Unit, r.Better = "duration", "s", "lower"
	g.Points = g.Points[:1]
	is(t, "seconds", Curve(r, g), Terminal, "tile-sort, unit-oak, mains, cores=6, time taken, s, lower is better",
		[]string{"W", "runs", "mean s", "95 % from", "to", "package W", "package J"}, []string{"10", "3", "60.0", "58.0", "62.0", "12.0", "720"})
	is(t, "seconds", Curve(r, g), Page, "tile-sort, unit-oak, mains, cores=6: time taken, s, lower is better; one run differs from the next by 1.23 % (standard deviation)",
		[]string{"setting", "runs", "mean", "95 % from", "to", "package W"}, []string{"10 W", "3", "60.0", "58.0", "62.0", "12.0"})
	for _, c := range []struct{ unit, by, head, text string }{
		{"ms", analysis.ByPackage, "x package W", "720"}, {"s", analysis.BySystem, "system J", "1200"}, {"", analysis.BySetting, "x set W", "600"}, {"s", analysis.BySetting, "set J", "600"},
	} { // 60 x 12, 60 x 20 and 60 x 10
		r.Unit, g.Efficiency.By = c.unit, c.by
		g.Points[0].SystemW, g.Points[0].PerSystemW = 20, 3
		table := Curve(r, g).On(Terminal)
		last := len(table.Columns) - 1
		if head, text := table.Columns[last].Head, table.Rows[0][last].Text; head != c.head || text != c.text {
			t.Errorf("%+v: got %q, %q", c, head, text)
		}
	}
}

// Every kind of watts, times a factor: half widths of 0.2 and 0.25 times 2 need two digits
// of 0.5: two decimals; of 2, one.
func TestEfficiencyTable(t *testing.T) {
	_, g := curve()
	g.Efficiencies = []analysis.Efficiency{
		{By: analysis.ByPackage, Points: []analysis.EfficiencyPoint{{SettingW: 10, N: 3, Value: 5, Lower: 4.8, Upper: 5.2, Plateau: true}, {SettingW: 25, N: 1, Value: 4, Lower: 3.75, Upper: 4.25}}},
		{By: analysis.BySetting, Points: []analysis.EfficiencyPoint{{SettingW: analysis.Unknown(), Setting: "quiet", N: 2, Value: 6, Lower: 5, Upper: 7, Plateau: true}}},
	}
	table := Efficiency(g, "frames per J", 2)
	is(t, "two kinds", table, Page, "tile-sort, unit-oak, mains, cores=6: frames per J",
		[]string{"watts", "setting", "runs", "mean", "95 % from", "to", "plateau"},
		[]string{"per package watt", "10 W", "3", "10.00", "9.60", "10.40", "yes"},
		[]string{"per package watt", "25 W", "1", "8.00", "7.50", "8.50", ""},
		[]string{"per set watt", "quiet", "2", "12.0", "10.0", "14.0", "yes"})
	if d := cmp.Diff([]string{"setting", "runs", "mean", "95 % from", "to"}, onRight(table, Page)); d != "" {
		t.Errorf("at the right edge: %s", d)
	}
}

// Half widths of 0.5 W and of 0.2 h show two digits with two decimals, which is the most.
func TestBatteryTable(t *testing.T) {
	u := analysis.Unknown()
	r := &analysis.BatteryResult{Confidence: 0.9}
	g := &analysis.BatteryGroup{Workload: "tile-sort", Device: "unit-oak", FullEnergyWh: u, Health: u, Points: []analysis.BatteryPoint{
		{SettingW: 10, N: 2, SystemW: 12, Lower: 11.5, Upper: 12.5, RuntimeH: 4, RuntimeLowerH: 3.8, RuntimeUpperH: 4.2},
		{SettingW: u, Setting: "quiet", N: 1, SystemW: 8, Lower: u, Upper: u, RuntimeH: 6, RuntimeLowerH: u, RuntimeUpperH: u}}}
	table := Battery(r, g)
	is(t, "power and runtime", table, Terminal, "tile-sort, unit-oak",
		[]string{"W", "runs", "system W", "90 % from", "to", "runtime h", "90 % from", "to"},
		[]string{"10", "2", "12.00", "11.50", "12.50", "4.00", "3.80", "4.20"}, []string{"quiet", "1", "8.00", "–", "–", "6.00", "–", "–"})
	is(t, "power and runtime", table, Page, "tile-sort, unit-oak",
		[]string{"setting", "runs", "whole device W", "90 % from", "to", "runtime h", "90 % from", "to"},
		[]string{"10 W", "2", "12.00", "11.50", "12.50", "4.00", "3.80", "4.20"}, []string{"quiet", "1", "8.00", "–", "–", "6.00", "–", "–"})
	if d := cmp.Diff(8, len(onRight(table, Terminal))); d != "" {
		t.Errorf("at the right edge: %s", d)
	}
	g.Points[0].Lower, g.Points[0].Upper, g.Points[0].RuntimeLowerH, g.Points[0].RuntimeUpperH = 11.995, 12.005, 3.999, 4.001
	if row := Battery(r, g).Rows[0]; row[2].Text != "12.00" || row[5].Text != "4.00" {
		t.Errorf("two decimals are the most: %q W, %q h", row[2].Text, row[5].Text)
	}
	// The page leaves runtimes out where none is known; a terminal shows dashes.
	for i := range g.Points {
		g.Points[i].RuntimeH, g.Points[i].RuntimeLowerH, g.Points[i].RuntimeUpperH = u, u, u
	}
	if page, terminal := len(Battery(r, g).On(Page).Columns), len(Battery(r, g).On(Terminal).Columns); page != 5 || terminal != 8 {
		t.Errorf("without runtimes: %d columns on the page, %d on a terminal", page, terminal)
	}
}

// Half widths of 3 and 10 minutes: no decimal shows two digits of the one and one of the
// other; of 0.04 minutes, one decimal and no more.
func TestGainsTable(t *testing.T) {
	u := analysis.Unknown()
	table := Gains(&analysis.BatteryResult{Confidence: 0.95}, &analysis.BatteryGroup{Gains: []analysis.RuntimeGain{
		{SettingW: 10, Minutes: 20, Lower: 17, Upper: 23, Significant: true}, {Variant: "cores=6", SettingW: u, Setting: "quiet", Minutes: -5, Lower: -15, Upper: 5}}})
	is(t, "two variants", table, Terminal, "",
		[]string{"W", "longer than", "min", "95 % from", "to", "more than noise"},
		[]string{"10", "no variant", "20", "17", "23", "yes"}, []string{"quiet", "cores=6", "-5", "-15", "5", "no"})
	if d := cmp.Diff([]string{"W", "min", "95 % from", "to"}, onRight(table, Terminal)); d != "" {
		t.Errorf("at the right edge: %s", d)
	}
	if d := cmp.Diff([]sentence.Tone{sentence.Good, sentence.Doubtful}, tones(table, "more than noise")); d != "" {
		t.Errorf("tones: %s", d)
	}
	table = Gains(&analysis.BatteryResult{Confidence: 0.95}, &analysis.BatteryGroup{Gains: []analysis.RuntimeGain{{SettingW: 10, Minutes: 6.04, Lower: 6, Upper: 6.08}}})
	if got := table.Rows[0][2].Text; got != "6.0" {
		t.Errorf("to a tenth of a minute: %q", got)
	}
}

// The difference of side a, whichever is dearer: for 200 more, 10 % are 5 % for each 100.
// Settings of which no difference is known are left out.
func TestValueTable(t *testing.T) {
	u := analysis.Unknown()
	v := &analysis.DeviceValue{Workload: "tile-sort", Supply: "mains", Variant: "cores=6", Metric: "fps_mean", Unit: "fps", A: "unit-elm", B: "unit-oak", Dearer: "unit-elm", Cheaper: "unit-oak", Confidence: 0.95, Settings: []analysis.ValuePoint{
		{SettingW: 10, Diff: 0.1, DiffLower: 0.08, DiffUpper: 0.12, DiffPer100: 5, DiffPer100Lower: 4, DiffPer100Upper: 6, ForPrice: -0.175, Significant: true},
		{SettingW: 15, Diff: u, DiffLower: u, DiffUpper: u, DiffPer100: u, DiffPer100Lower: u, DiffPer100Upper: u, ForPrice: u},
		{SettingW: u, Setting: "quiet", Diff: -0.01, DiffLower: -0.03, DiffUpper: 0.01, DiffPer100: -0.5, DiffPer100Lower: -1.5, DiffPer100Upper: 0.5, ForPrice: -0.2574}}}
	for currency, head := range map[string]string{"EUR": "% per 100 EUR", "": "% per 100"} {
		is(t, "two settings", Value(currency, v), Terminal, "tile-sort, mains, cores=6: price and result of unit-elm (a) against unit-oak (b = 100 %), mean frame rate, fps",
			[]string{"W", "a/b %", "95 % from", "to", head, "a for its price %", "more than noise"},
			[]string{"10", "+10.0", "+8.0", "+12.0", "+5.0", "-17.5", "yes"}, []string{"quiet", "-1.0", "-3.0", "+1.0", "-0.5", "-25.7", "no"})
		if d := cmp.Diff([]string{"W", "a/b %", "95 % from", "to", head, "a for its price %"}, onRight(Value(currency, v), Terminal)); d != "" {
			t.Errorf("at the right edge: %s", d)
		}
	}
	// Half a width of 0.2 %: two decimals for all; and for each 100 no more than two.
	v.Settings = v.Settings[:1]
	v.Settings[0].DiffLower, v.Settings[0].DiffUpper, v.Settings[0].DiffPer100Lower, v.Settings[0].DiffPer100Upper = 0.098, 0.102, 4.999, 5.001
	is(t, "narrow bounds", Value("EUR", v), Terminal, "tile-sort, mains, cores=6: price and result of unit-elm (a) against unit-oak (b = 100 %), mean frame rate, fps",
		[]string{"W", "a/b %", "95 % from", "to", "% per 100 EUR", "a for its price %", "more than noise"},
		[]string{"10", "+10.00", "+9.80", "+10.20", "+5.00", "-17.50", "yes"})
	if got := Value("EUR", v).Rows[0][4].Exact; got != "0.05" {
		t.Errorf("in full: %q", got)
	}
}

// However narrow an interval is, an efficiency has at most four decimals.
func TestEfficiencyTableOfNarrowIntervals(t *testing.T) {
	_, g := curve()
	g.Efficiencies = []analysis.Efficiency{{By: analysis.BySystem, Points: []analysis.EfficiencyPoint{
		{SettingW: 10, N: 9, Value: 0.123456789, Lower: 0.123455, Upper: 0.123459}}}}
	table := Efficiency(g, "frames per J", 1).On(Page)
	if got := table.Rows[0][3].Text; got != "0.1235" {
		t.Errorf("mean %s, want 0.1235", got)
	}
}
