package report

import (
	"iter"
	"maps"
	"slices"
	"strings"

	"sweepd/analysis"
	"sweepd/report/chart"
	"sweepd/report/sentence"
	"sweepd/report/table"
	"sweepd/run"
)

// workload is the section of one workload and metric.
func (b *builder) workload(t *Topic, workload string) Section {
	s := Section{Title: workload + ", " + sentence.MetricName(t.Metric)}
	if more := t.Left[workload]; len(more) > 0 {
		s.Notes = append(s.Notes, "also recorded, and not looked at here: "+strings.Join(more, ", "))
	}
	for _, part := range []Section{b.results(t, workload), b.devices(t, workload), b.atPackage(t, workload), b.supplies(t, workload), b.variants(t, workload),
		b.efficiency(t, workload), b.obedience(t, workload), b.overWatts(t, workload), b.battery(workload), b.tradeOff(t, workload), b.sensors(t, workload), b.onePicture(t, workload)} {
		if !part.empty() {
			part.Folded = len(s.Sections) >= mostUnfolded
			s.Sections = append(s.Sections, part)
		}
	}
	return s
}

// mostUnfolded is how many parts of a workload are shown at once: the rest unfolds.
const mostUnfolded = 2

// bySupply are the groups of a workload for each supply, mains first.
func bySupply(t *Topic, workload string) iter.Seq2[string, []*analysis.CurveGroup] {
	groups := map[string][]*analysis.CurveGroup{}
	for i := range t.Curve.Groups {
		if g := &t.Curve.Groups[i]; g.Workload == workload {
			groups[g.Supply] = append(groups[g.Supply], g)
		}
	}
	return func(yield func(string, []*analysis.CurveGroup) bool) {
		for _, supply := range slices.Backward(slices.Sorted(maps.Keys(groups))) {
			if !yield(supply, groups[supply]) {
				return
			}
		}
	}
}

func (b *builder) results(t *Topic, workload string) Section {
	s := Section{Title: "Result against the setting", Notes: sentence.Notes(t.Curve.Notes)}
	for supply, groups := range bySupply(t, workload) {
		charts := b.resultCharts(t, workload, supply, groups)
		s.Charts = append(s.Charts, charts...)
		for i, g := range groups {
			x := table.Curve(&t.Curve, g)
			b.curves[g] = x
			b.draw(charts, i, len(groups), g, asResult, x)
			about := sentence.Joined(b.legend.name(g.Device, g.Variant), onSupply(g.Supply))
			s.say(about, append([]sentence.Sentence{sentence.Most(&t.Curve, g)}, sentence.Curve(g)...)...)
			s.Tables = append(s.Tables, x)
			s.Notes = appendNotes(s.Notes, about+": ", g.Notes)
		}
	}
	return s
}

// draw remembers that thing i of n is drawn in one of the charts, which share them out in
// their order, and which table has its numbers.
func (b *builder) draw(charts []chart.Chart, i, n int, of any, as string, x *table.Table) {
	if len(charts) == 0 {
		return
	}
	name := charts[i*len(charts)/n].Name
	b.show(of, as, name)
	if b.tables[name] == nil {
		b.tables[name] = x
	}
}

func (b *builder) devices(t *Topic, workload string) Section {
	return b.compared("Device against device", t, t.Device, workload, func(c *analysis.Comparison) bool {
		for supply, groups := range bySupply(t, workload) {
			if supply == sentence.OrEmpty(c.Supply) {
				return b.onlyComparison(t, workload, supply, groups) != nil // the curves are drawn already
			}
		}
		return false
	})
}

// atPackage is the devices compared at equal package watts: the charts of them are those of
// the settings.
func (b *builder) atPackage(t *Topic, workload string) Section {
	return b.compared("Device against device at equal package watts", t, t.AtPackage, workload, nil)
}

func (b *builder) supplies(t *Topic, workload string) Section {
	return b.compared("On battery against mains", t, t.Supply, workload, nil)
}

func (b *builder) variants(t *Topic, workload string) Section {
	s := Section{Title: "What else was changed"}
	for i := range t.Variants {
		part := b.compared(t.Variants[i].Key, t, &t.Variants[i].Result, workload, nil)
		s.Sentences, s.Charts = append(s.Sentences, part.Sentences...), append(s.Charts, part.Charts...)
		s.Tables, s.Notes = append(s.Tables, part.Tables...), append(s.Notes, part.Notes...)
	}
	return s
}

// mostPairs is how many comparisons of one kind get charts of their own; the
// tables have all.
const mostPairs = 24

// compared is a section of comparisons; drawn tells of which the curves are in
// another chart.
func (b *builder) compared(title string, t *Topic, r *analysis.CompareResult, workload string, drawn func(*analysis.Comparison) bool) Section {
	s := Section{Title: title}
	if r == nil {
		return s
	}
	for i := range r.Comparisons {
		c := &r.Comparisons[i]
		if c.Workload != workload {
			continue
		}
		about, x := sentence.Joined(conditions(c), against(c)), table.Compare(c)
		if len(s.Charts) < mostPairs && r != t.AtPackage {
			var charts []chart.Chart
			if drawn == nil || !drawn(c) {
				charts = append(charts, b.pairChart(t, c))
			}
			if difference, ok := b.differenceChart(c); ok {
				charts = append(charts, difference)
			}
			for i := range charts {
				b.draw(charts[i:i+1], 0, 1, c, asResult, x)
			}
			s.Charts = append(s.Charts, charts...)
		}
		s.say(about, append(sentence.Compare(b.study.claimable(c)), sentence.Obedience(c)...)...) // one interval for one quantity on the page
		s.Tables = append(s.Tables, x)
		s.Notes = appendNotes(s.Notes, about+": besides, ", c.Confounders)
		s.Notes = appendNotes(s.Notes, about+": ", c.Notes)
	}
	return s
}

func (b *builder) efficiency(t *Topic, workload string) Section {
	s := Section{Title: "Result for each watt"}
	for supply, groups := range bySupply(t, workload) {
		charts := b.efficiencyCharts(t, workload, supply, groups)
		s.Charts = append(s.Charts, charts...)
		for i, g := range groups {
			s.say(sentence.Joined(b.legend.name(g.Device, g.Variant), onSupply(supply)), sentence.Efficient(g)...)
			if len(g.Efficiencies) > 0 {
				unit, factor := efficiencyUnit(t)
				x := table.Efficiency(g, unit, factor)
				b.draw(charts, i, len(groups), g, asEfficiency, x)
				s.Tables = append(s.Tables, x)
			}
		}
	}
	return s
}

func (b *builder) obedience(t *Topic, workload string) Section {
	s := Section{Title: "Package power against the setting"}
	for supply, groups := range bySupply(t, workload) {
		charts := b.powerCharts(t, workload, supply, groups)
		s.Charts = append(s.Charts, charts...)
		for i, g := range groups {
			b.draw(charts, i, len(groups), g, asPower, b.curves[g])
		}
	}
	return s
}

// rankedDevices is all devices tested so far against one.
func (b *builder) rankedDevices() Section {
	s := Section{Title: "All devices tested so far"}
	for i := range b.study.Topics {
		t := &b.study.Topics[i]
		for _, r := range b.ranks(t) {
			charts := b.rankCharts(r)
			x := r.table()
			for k := range charts {
				b.tables[charts[k].Name] = x
			}
			s.Charts, s.Tables = append(s.Charts, charts...), append(s.Tables, x)
		}
	}
	if len(b.study.all) > 0 && len(s.Charts) == 0 {
		s.say("", sentence.Sentence{Tone: sentence.Doubtful, Text: "Nothing can be ranked: no other device was tested at the same settings in the same workloads."})
	}
	return s
}

// overWatts is the result over the watts that were measured: at equal settings devices may
// draw different ones.
func (b *builder) overWatts(t *Topic, workload string) Section {
	s := Section{Title: "Result over measured watts"}
	for supply, groups := range bySupply(t, workload) {
		charts := b.fairCharts(t, workload, supply, groups)
		for i, g := range groups {
			b.draw(charts, i, len(groups), g, asOverWatts, b.curves[g])
		}
		s.Charts = append(s.Charts, charts...)
	}
	return s
}

// tradeOff is what a longer runtime costs.
func (b *builder) tradeOff(t *Topic, workload string) Section {
	return Section{Title: "Runtime against result", Charts: b.tradeCharts(t, workload)}
}

func (b *builder) sensors(t *Topic, workload string) Section {
	s := Section{Title: "Temperature, clock and fan"}
	for supply, groups := range bySupply(t, workload) {
		s.Charts = append(s.Charts, b.sensorCharts(workload, supply, groups)...)
	}
	return s
}

// onePicture is each device summed up.
func (b *builder) onePicture(t *Topic, workload string) Section {
	return Section{Title: "Each device in one picture", Charts: b.deviceCharts(t, workload)}
}

func (b *builder) battery(workload string) Section {
	s := Section{Title: "Power and runtime on battery"}
	r := b.study.Battery
	if r == nil {
		return s
	}
	var groups []*analysis.BatteryGroup
	for i := range r.Groups {
		if r.Groups[i].Workload == workload {
			groups = append(groups, &r.Groups[i])
		}
	}
	s.Charts = b.batteryCharts(r, workload, groups)
	for i, g := range groups {
		about, x := b.legend.name(g.Device, g.Variant), table.Battery(r, g)
		b.draw(s.Charts, i, len(groups), g, asResult, x)
		s.say(about, append(b.runtime(g), sentence.Battery(g)...)...)
		s.Tables = append(s.Tables, x)
		s.Notes = appendNotes(s.Notes, about+": ", g.Notes)
	}
	for _, x := range r.LeftOut {
		if x.Workload == workload {
			s.Notes = append(s.Notes, "left out: "+sentence.LeftOut(x))
		}
	}
	return s
}

// batteryAlone shows workloads that report no result but ran on battery.
func (b *builder) batteryAlone() Section {
	s := Section{Title: "On battery, without results"}
	if b.study.Battery == nil {
		return s
	}
	var seen []string
	for _, t := range b.study.Topics {
		seen = append(seen, t.Workloads...)
	}
	for _, g := range b.study.Battery.Groups {
		if !slices.Contains(seen, g.Workload) {
			seen = append(seen, g.Workload)
			part := b.battery(g.Workload)
			part.Title = g.Workload
			s.Sections = append(s.Sections, part)
		}
	}
	return s
}

func (b *builder) across() Section {
	s := Section{Title: "Over several workloads"}
	add := func(r *analysis.CompareResult) {
		if r == nil {
			return
		}
		for _, x := range r.AcrossPairs {
			s.say(sentence.Joined(sentence.OrEmpty(x.Device), sentence.OrEmpty(x.Variant), supplyTitle(x.Supply)),
				sentence.Sentence{Text: sentence.Across(x.A, x.B, x.Across)})
		}
	}
	for i := range b.study.Topics {
		add(b.study.Topics[i].Device)
		add(b.study.Topics[i].Supply)
	}
	return s
}

func (b *builder) days() Section {
	s := Section{Title: "The day in the order of time", Folded: true}
	for i := range b.study.Topics {
		for _, w := range b.study.Topics[i].Workloads {
			s.Charts = append(s.Charts, b.dayCharts(&b.study.Topics[i], w)...)
		}
	}
	return s
}

func (b *builder) singleRuns() Section {
	s := Section{Title: "Single runs", Folded: true}
	for i := range b.in.Traces {
		t := &b.in.Traces[i]
		at := slices.IndexFunc(b.in.Runs, func(r run.Run) bool { return r.ID == t.Run })
		if at < 0 {
			continue
		}
		r := &b.in.Runs[at]
		part := Section{Title: "Run " + run.ShortID(r.ID)}
		if t.Normal {
			part.Title = "A normal run of " + r.Device
		}
		if c, ok := b.runChart(t, r); ok {
			part.Charts = []chart.Chart{c}
		}
		for _, f := range r.Findings {
			tone := sentence.Plain
			if f.Severity != run.SeverityNote {
				tone = sentence.Doubtful
			}
			part.Sentences = append(part.Sentences, Statement{About: string(f.Severity) + ", " + string(f.Code), Sentence: sentence.Sentence{Tone: tone, Text: sentence.Capital(strings.TrimSuffix(f.Text, ".")) + "."}})
		}
		if !part.empty() {
			s.Sections = append(s.Sections, part)
		}
	}
	return s
}

func (b *builder) frames() Section {
	s := Section{Title: "Frame times"}
	if len(b.in.Frames) == 0 {
		return s
	}
	s.Charts = append(b.framesCharts(b.in.Frames), b.framesCourseCharts(b.in.Frames)...)
	s.Tables = append(s.Tables, framesTable(b.in.Frames))
	return s
}
