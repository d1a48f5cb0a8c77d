package report

import (
	"cmp"
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
	Short    []Section // in short: a heading and sentences
	Brackets string    // what the brackets behind numbers mean
	Sections []Section
	Methods  []Method
	Claims   []analysis.Claim // what may be said at the top, for machines
	Devices  []Device
	Runs     []run.Run
	Tidy     []byte
	Made     time.Time
	Zone     *time.Location
	Version  string
}

// Section is a heading with what belongs to it, and sections below it.
type Section struct {
	Title     string
	Sentences []Statement
	Charts    []chart.Chart
	Tables    []*table.Table
	Notes     []string
	Sections  []Section
}

// Statement is a sentence with what it is about.
type Statement struct {
	About string
	sentence.Sentence
}

// say adds sentences on one thing: the doubtful ones each by itself, all others before
// them as one paragraph.
func (s *Section) say(about string, list ...sentence.Sentence) {
	var plain []string
	var doubtful []Statement
	tone := sentence.Plain
	for _, x := range list {
		switch {
		case x.Text == "":
		case x.Tone == sentence.Doubtful:
			doubtful = append(doubtful, Statement{about, x})
		default:
			plain = append(plain, x.Text)
			tone = max(tone, x.Tone)
		}
	}
	if len(plain) > 0 {
		s.Sentences = append(s.Sentences, Statement{about, sentence.Sentence{Tone: tone, Text: strings.Join(plain, " ")}})
	}
	s.Sentences = append(s.Sentences, doubtful...)
}

func (s *Section) empty() bool {
	return len(s.Sentences)+len(s.Charts)+len(s.Tables)+len(s.Notes)+len(s.Sections) == 0
}

// Charts are all charts of the page, in order.
func (p *Page) Charts() []chart.Chart {
	var list []chart.Chart
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
	return cellKey{r.Device, r.Workload, string(r.Supply), string(r.Variant), settingText(r.Setting.Setting)}
}

// builder lays a report out.
type builder struct {
	in     *Input
	study  *Study
	legend legend
	zone   *time.Location
	names  map[string]bool // of charts
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
	p.Title = cmp.Or(in.Words.Title, p.Title)
	p.Short, p.Brackets = b.short(), b.brackets()
	for i := range in.Study.Topics {
		for _, w := range in.Study.Topics[i].Workloads {
			if s := b.workload(&in.Study.Topics[i], w); !s.empty() {
				p.Sections = append(p.Sections, s)
			}
		}
	}
	for _, s := range []Section{b.across(), b.batteryAlone(), b.days(), b.singleRuns(), b.frames()} {
		if !s.empty() {
			p.Sections = append(p.Sections, s)
		}
	}
	return p
}

func newBuilder(in *Input) *builder {
	b := &builder{in: in, study: &in.Study, legend: newLegend(&in.Study, in.Styles), zone: in.Zone, names: map[string]bool{},
		cells: map[cellKey][]*run.Run{}, means: map[string]map[cellKey]float64{}}
	if b.zone == nil {
		b.zone = time.UTC
	}
	b.index()
	return b
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
				means[cellKey{g.Device, g.Workload, g.Supply, g.Variant, sentence.Setting(p.SettingW, p.Setting)}] = float64(p.Mean)
			}
		}
		b.means[t.Metric] = means
	}
}
