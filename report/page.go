package report

import (
	"fmt"
	"time"

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
	Devices  []Device
	Runs     []Run
	Tidy     []byte
	Made     time.Time
	Zone     *time.Location
	Version  string
}

// Section is a heading with what belongs to it, and sections below it.
type Section struct {
	Title     string
	Sentences []Said
	Charts    []chart.Chart
	Tables    []*table.Table
	Notes     []string
	Sections  []Section
}

// Said is a sentence with what it is about.
type Said struct {
	About string
	sentence.Sentence
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

// builder lays a report out.
type builder struct {
	in    *Input
	study *Study
	cast  cast
	zone  *time.Location
	names map[string]bool // of charts
	cells map[cellKey][]*run.Run
	means map[string]map[cellKey]float64 // by metric
}

// unique makes a chart's name one of its kind.
func (b *builder) unique(name string) string {
	candidate := name
	for i := 2; b.names[candidate]; i++ {
		candidate = fmt.Sprintf("%s-%d", name, i)
	}
	b.names[candidate] = true
	return candidate
}

// Compose lays a report out.
func Compose(in Input) *Page {
	b := &builder{in: &in, study: &in.Study, cast: newCast(&in.Study), zone: in.Zone, names: map[string]bool{},
		cells: map[cellKey][]*run.Run{}, means: map[string]map[cellKey]float64{}}
	if b.zone == nil {
		b.zone = time.UTC
	}
	b.index()
	p := &Page{
		Methods: methods(), Devices: in.Devices, Runs: in.Runs, Tidy: in.Tidy, Made: in.Made, Zone: b.zone, Version: in.Version,
	}
	p.Title, p.Subtitle = b.title()
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

// index sorts runs and means by cell.
func (b *builder) index() {
	for i := range b.study.runs {
		r := &b.study.runs[i]
		k := cellKey{r.Device, r.Workload, string(r.Supply), string(r.Variant), settingText(r.Setting.Setting)}
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
