package report

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"sweepd/analysis"
	"sweepd/report/chart"
	"sweepd/report/sentence"
	"sweepd/report/table"
	"sweepd/run"
)

// Page is a report laid out: what it says at the top, then sections.
type Page struct {
	Title    string
	Subtitle string
	Opening  Opening
	Short    []Section // the answers at length: a heading and sentences for each question
	Brackets string    // what the brackets behind numbers mean
	Sections []Section
	Methods  []Method
	tables   map[string]string // anchors of the tables with the numbers of charts, by the charts' names
	charts   map[string]string // names of the charts that show the numbers of tables, by the tables' anchors
	answers  map[string]bool   // the charts to which an answer links
	Claims   []analysis.Claim  // what may be said at the top, for machines
	Devices  []Device
	Runs     []run.Run
	Tidy     []byte
	Made     time.Time
	Zone     *time.Location
	Version  string
}

// Section is a heading with what belongs to it, and sections below it.
type Section struct {
	ID        string // by which links find it; Compose gives those that have none their place
	Title     string
	Folded    bool // shown as its title, until a reader unfolds it
	Sentences []Statement
	Charts    []chart.Chart
	Tables    []*table.Table
	Notes     []string
	Sections  []Section
}

// Statement is a sentence with what it is about, and the anchor of what shows it.
type Statement struct {
	About string
	sentence.Sentence
	Link string
}

// say adds sentences on one thing: the doubtful ones each by itself, all others before
// them as one paragraph.
func (s *Section) say(about string, list ...sentence.Sentence) { s.sayOf(about, "", list...) }

// sayOf is say with the anchor of what shows it.
func (s *Section) sayOf(about, link string, list ...sentence.Sentence) {
	var plain []string
	var doubtful []Statement
	tone := sentence.Plain
	for _, x := range list {
		switch {
		case x.Text == "":
		case x.Tone == sentence.Doubtful:
			doubtful = append(doubtful, Statement{about, x, link})
		default:
			plain = append(plain, x.Text)
			tone = max(tone, x.Tone)
		}
	}
	if len(plain) > 0 {
		s.Sentences = append(s.Sentences, Statement{about, sentence.Sentence{Tone: tone, Text: strings.Join(plain, " ")}, link})
	}
	s.Sentences = append(s.Sentences, doubtful...)
}

func (s *Section) empty() bool {
	return len(s.Sentences)+len(s.Charts)+len(s.Tables)+len(s.Notes)+len(s.Sections) == 0
}

// Charts are all charts of the page, in order.
func (p *Page) Charts() []chart.Chart {
	list := slices.Clone(p.Opening.Charts)
	var walk func([]Section)
	walk = func(sections []Section) {
		for i := range sections {
			list = append(list, sections[i].Charts...)
			walk(sections[i].Sections)
		}
	}
	walk(p.Sections)
	return list
}

// cellKey is the runs that should differ by chance alone.
type cellKey struct{ device, workload, supply, variant, setting string }

func cellOf(r *run.Run) cellKey {
	return cellKey{r.Device, r.Workload, string(r.Supply), string(r.Variant), sentence.SettingOf(r.Setting.Setting)}
}

// cellAt are the runs of a curve at a setting.
func cellAt(g *analysis.CurveGroup, watts analysis.Number, name string) cellKey {
	return cellKey{g.Device, g.Workload, g.Supply, g.Variant, sentence.Setting(watts, name)}
}

// shown is something that a chart or section shows: a comparison, a curve or a battery group
// of the study, by its pointer, and as what.
type shown struct {
	of any
	as string
}

// What charts show curves as.
const (
	asResult     = "result"
	asEfficiency = "efficiency"
	asPower      = "power"
	asOverWatts  = "watts"
)

// show remembers the chart that shows something, the last one of several.
func (b *builder) show(of any, as, chart string) { b.shown[shown{of, as}] = chartAnchor + chart }

// link is the anchor of what shows something, empty where nothing does.
func (b *builder) link(of any, as string) string { return b.shown[shown{of, as}] }

// builder lays a report out.
type builder struct {
	in     *Input
	study  *Study
	legend legend
	opened []*analysis.Comparison // that the page opens with, as it may claim them
	zone   *time.Location
	names  map[string]bool // of charts
	shown  map[shown]string
	tables map[string]*table.Table // the one with the numbers of a chart, by its name
	curves map[*analysis.CurveGroup]*table.Table
	cells  map[cellKey][]*run.Run
	means  map[string]map[cellKey]float64 // by metric
}

// Compose lays a report out.
func Compose(in Input) *Page {
	b := newBuilder(&in)
	p := &Page{
		Claims: in.Study.Claims, Methods: withConditions(methods(), in.Devices), Devices: in.Devices, Runs: in.Runs, Tidy: in.Tidy, Made: in.Made, Zone: b.zone, Version: in.Version,
	}
	p.Title, p.Subtitle = b.title()
	p.Title = cmp.Or(in.Publication.Title, p.Title)
	p.Opening = b.opening(p.Title)
	for i := range in.Study.Topics {
		for _, w := range in.Study.Topics[i].Workloads {
			if s := b.workload(&in.Study.Topics[i], w); !s.empty() {
				p.Sections = append(p.Sections, s)
			}
		}
	}
	for _, s := range []Section{b.rankedDevices(), b.across(), b.batteryAlone(), b.days(), b.singleRuns(), b.frames()} {
		if !s.empty() {
			p.Sections = append(p.Sections, s)
		}
	}
	p.Short, p.Brackets = b.short(), b.brackets()
	identify("s", p.Sections)
	identify("answer-", p.Short)
	p.connect(b.tables)
	return p
}

func newBuilder(in *Input) *builder {
	b := &builder{in: in, study: &in.Study, legend: newLegend(&in.Study, in.Publication.Styles), zone: in.Zone, names: map[string]bool{}, shown: map[shown]string{}, tables: map[string]*table.Table{}, curves: map[*analysis.CurveGroup]*table.Table{},
		cells: map[cellKey][]*run.Run{}, means: map[string]map[cellKey]float64{}}
	if b.zone == nil {
		b.zone = time.UTC
	}
	b.opened = b.headline()
	b.index()
	return b
}

// connect finds the anchors from charts to tables and back, and from charts to answers.
func (p *Page) connect(of map[string]*table.Table) {
	anchors := map[*table.Table]string{}
	var walk func([]Section)
	walk = func(list []Section) {
		for i := range list {
			for k, t := range list[i].Tables {
				anchors[t] = list[i].TableID(k)
			}
			walk(list[i].Sections)
		}
	}
	walk(p.Sections)
	p.tables, p.charts, p.answers = map[string]string{}, map[string]string{}, map[string]bool{}
	for _, c := range p.Charts() {
		if anchor := anchors[of[c.Name]]; anchor != "" {
			p.tables[c.Name] = anchor
			if p.charts[anchor] == "" {
				p.charts[anchor] = c.Name
			}
		}
	}
	sections := map[string]bool{}
	for _, s := range p.Short {
		sections[s.ID] = true
		for _, x := range s.Sentences {
			p.answers[strings.TrimPrefix(x.Link, chartAnchor)] = true
		}
	}
	for i := range p.Opening.Sentences {
		if x := &p.Opening.Sentences[i]; !sections[x.Link] {
			x.Link = ""
		}
	}
}

// TableOf is the anchor of the table with the numbers of a chart, empty where there is none.
func (p *Page) TableOf(chart string) string { return p.tables[chart] }

// ChartOf is the anchor of the chart with the numbers of a table, empty where there is none.
func (p *Page) ChartOf(table string) string {
	if name := p.charts[table]; name != "" {
		return chartAnchor + name
	}
	return ""
}

// Answered tells whether an answer at the top links to a chart.
func (p *Page) Answered(chart string) bool { return p.answers[chart] }

// TableID is the anchor of a table.
func (s Section) TableID(i int) string { return fmt.Sprintf("%s-table%d", s.ID, i+1) }

// chartAnchor begins the anchors of charts.
const chartAnchor = "chart-"

// identify gives sections anchors by their places.
func identify(prefix string, list []Section) {
	for i := range list {
		list[i].ID = cmp.Or(list[i].ID, prefix+strconv.Itoa(i+1))
		identify(list[i].ID+"-", list[i].Sections)
	}
}

// index sorts runs and means by cell.
func (b *builder) index() {
	for i := range b.study.runs {
		r := &b.study.runs[i]
		k := cellOf(r)
		b.cells[k] = append(b.cells[k], r)
	}
	for i := range b.study.Topics {
		t := &b.study.Topics[i]
		means := map[cellKey]float64{}
		for _, g := range t.Curve.Groups {
			for _, p := range g.Points {
				means[cellAt(&g, p.SettingW, p.Setting)] = float64(p.Mean)
			}
		}
		b.means[t.Metric] = means
	}
}
