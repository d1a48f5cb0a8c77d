package report

import (
	"crypto/sha256"
	_ "embed"
	"encoding/base64"
	"fmt"
	"html/template"
	"io"
	"maps"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"sweepd/report/chart"
	"sweepd/report/sentence"
	"sweepd/report/table"
	"sweepd/run"
)

var (
	//go:embed page.html
	pageHTML string
	//go:embed page.css
	pageCSS string
	//go:embed page.js
	pageJS string
)

var pageTemplate = template.Must(template.New("page").Parse(pageHTML))

// HTML writes the page as one file that needs nothing else: every text is
// escaped by its place, the script is the page's own and known by its hash, and
// the page may load nothing.
func (p *Page) HTML(w io.Writer) error {
	hash := sha256.Sum256([]byte(pageJS))
	v := pageView{
		Title: p.Title, Subtitle: p.Subtitle, Brackets: p.Brackets, Version: p.Version, Methods: p.Methods,
		CSS: template.CSS(pageCSS), JS: template.JS(pageJS), ScriptHash: "sha256-" + base64.StdEncoding.EncodeToString(hash[:]),
	}
	if !p.Made.IsZero() {
		v.Made = p.Made.In(p.Zone).Format("2 January 2006 15:04 MST")
	}
	for _, s := range p.Short {
		v.Short = append(v.Short, view(&s, ""))
	}
	for i := range p.Sections {
		v.Sections = append(v.Sections, view(&p.Sections[i], "s"+strconv.Itoa(i+1)))
	}
	if len(p.Tidy) > 0 {
		v.Tidy = template.URL("data:text/csv;charset=utf-8;base64," + base64.StdEncoding.EncodeToString(p.Tidy))
	}
	for _, d := range p.Devices {
		v.Devices = append(v.Devices, deviceView{d.Name, facts(d)})
	}
	for i := range p.Runs {
		v.Runs = append(v.Runs, p.run(&p.Runs[i]))
	}
	v.RunsWord = "All " + sentence.Counted(len(p.Runs), "run")
	if len(p.Runs) == 1 {
		v.RunsWord = "The run"
	}
	return pageTemplate.ExecuteTemplate(w, "page", v)
}

// What the template sees.
type (
	pageView struct {
		Title, Subtitle, Brackets, Version, Made, ScriptHash, RunsWord string

		CSS      template.CSS
		JS       template.JS
		Short    []sectionView
		Sections []sectionView
		Methods  []Method
		Devices  []deviceView
		Runs     []runView
		Tidy     template.URL
	}
	sectionView struct {
		ID, Title             string
		Sentences             []sentenceView
		Charts                []chartView
		Tables                []table.Table
		Notes                 []string
		TablesWord, NotesWord string
		Sections              []sectionView
	}
	sentenceView struct{ Class, About, Text string }
	chartView    struct {
		ID, Name, Title, Alt, Caption string
		Wide, Narrow                  template.HTML
	}
	deviceView struct {
		Name  string
		Facts []factView
	}
	factView struct{ Name, Value string }
	runView  struct {
		ID, Short, Started, Device, Workload, Variant, Setting, Supply string
		Duration, Package, System, Results, State                      string

		Findings []string
		Out      bool
	}
)

// classes of sentences in the page; each also has its own sign before it.
var classes = map[sentence.Tone]string{sentence.Good: "good", sentence.Doubtful: "doubt"}

func view(s *Section, id string) sectionView {
	v := sectionView{ID: id, Title: s.Title, Notes: s.Notes}
	for _, x := range s.Sentences {
		v.Sentences = append(v.Sentences, sentenceView{classes[x.Tone], x.About, typeset(x.Text)})
	}
	for i := range s.Charts {
		v.Charts = append(v.Charts, chartOf(&s.Charts[i]))
	}
	for _, t := range s.Tables {
		v.Tables = append(v.Tables, t.On(table.Page))
	}
	v.TablesWord, v.NotesWord = sentence.Counted(len(s.Tables), "table"), sentence.Counted(len(s.Notes), "note")
	for i := range s.Sections {
		v.Sections = append(v.Sections, view(&s.Sections[i], id+"-"+strconv.Itoa(i+1)))
	}
	return v
}

// units are what stays on one line with its number.
var units = regexp.MustCompile(`(\d) (%|[mk]?W|Wh|[mk]?J|m?s|min|h|[MG]Hz|°C|K|V|A|fps|EUR|USD|GBP)\b|(\d) (%)`)

// negative is a minus before a number, not between two.
var negative = regexp.MustCompile(`(^|[ (])-(\d)`)

// typeset keeps a number and its unit on one line, and writes a minus as one.
func typeset(text string) string {
	text = units.ReplaceAllString(text, "$1$3\u00a0$2$4")
	return negative.ReplaceAllString(text, "$1−$2")
}

func chartOf(c *chart.Chart) chartView {
	id := "chart-" + c.Name
	return chartView{
		ID: id, Name: c.Name, Title: c.Title, Alt: c.Alt, Caption: "charts/" + c.Name,
		Wide:   template.HTML(chart.Inline(c, chart.Wide, id+"-title", id+"-alt")),
		Narrow: template.HTML(chart.Inline(c, chart.Narrow, id+"-title", id+"-alt")),
	}
}

func facts(d Device) []factView {
	var list []factView
	for _, f := range sentence.Facts(d.Facts) {
		list = append(list, factView(f))
	}
	return list
}

// run is a run as the table of all runs shows it.
func (p *Page) run(r *run.Run) runView {
	v := runView{
		ID: r.ID, Short: run.ShortID(r.ID), Device: r.Device, Workload: r.Workload, Variant: string(r.Variant), Setting: settingText(r.Setting.Setting), Supply: string(r.Supply),
		Duration: optional(r.DurationS), Package: optional(r.PackageW), System: optional(r.SystemW), State: string(r.State), Out: r.State != run.Finished,
	}
	if !r.StartedAt.IsZero() {
		v.Started = r.StartedAt.In(p.Zone).Format("2006-01-02 15:04:05")
	}
	var results []string
	for _, name := range slices.Sorted(maps.Keys(r.Results)) {
		x := r.Results[name]
		results = append(results, strings.TrimSpace(name+" "+strconv.FormatFloat(x.Value, 'g', 6, 64)+" "+x.Unit))
	}
	v.Results = strings.Join(results, ", ")
	if r.Why != "" {
		v.Findings = append(v.Findings, "why: "+r.Why)
	}
	for _, f := range r.Findings {
		if string(f.Code)+": "+f.Text != r.Why {
			v.Findings = append(v.Findings, fmt.Sprintf("%s %s: %s", f.Severity, f.Code, f.Text))
		}
	}
	if r.Note != "" {
		v.Findings = append(v.Findings, "note of the tester: "+r.Note)
	}
	return v
}

func optional(v *float64) string {
	if v == nil {
		return ""
	}
	return sentence.Significant(*v)
}
