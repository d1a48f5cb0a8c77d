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

var pageTemplate = template.Must(template.New("page").Funcs(template.FuncMap{
	"view":    func(p *Page, s Section) sectionView { return sectionView{p, s} },
	"figures": func(p *Page, list []chart.Chart) figuresView { return figuresView{p, list} },
	"summary": summary,
	"class":   func(t sentence.Tone) string { return classes[t] },
	"typeset": typeset,
	"counted": sentence.Counted,
	"wide":    func(c chart.Chart) template.HTML { return inline(&c, chart.Wide) },
	"narrow":  func(c chart.Chart) template.HTML { return inline(&c, chart.Narrow) },
	"onPage":  func(t *table.Table) table.Table { return t.On(table.Page) },
	"facts":   sentence.Facts,
	"shortID": run.ShortID,
	"setting": func(r run.Run) string { return sentence.SettingOf(r.Setting.Setting) },
	"number":  optional,
	"results": results,
	"remarks": remarks,
}).Parse(pageHTML))

// HTML writes the page as one file that needs nothing else: every text is
// escaped by its place, the script is the page's own and known by its hash, and
// the page may load nothing.
func (p *Page) HTML(w io.Writer) error {
	hash := sha256.Sum256([]byte(pageJS))
	v := pageView{Page: p, CSS: template.CSS(pageCSS), JS: template.JS(pageJS), ScriptHash: "sha256-" + base64.StdEncoding.EncodeToString(hash[:])}
	if len(p.Tidy) > 0 {
		v.Download = template.URL("data:text/csv;charset=utf-8;base64," + base64.StdEncoding.EncodeToString(p.Tidy))
	}
	return pageTemplate.ExecuteTemplate(run.VisibleWriter{To: w}, "page", v)
}

// sectionView is what the template sees of a section, and figuresView of its charts.
type (
	sectionView struct {
		*Page
		Section Section
	}
	figuresView struct {
		*Page
		Charts []chart.Chart
	}
)

// summary says how much there is of a section that is folded whole.
func summary(s Section) string {
	charts := len(s.Charts)
	for i := range s.Sections {
		charts += len(s.Sections[i].Charts)
	}
	return sentence.Counted(charts, "chart")
}

// pageView is what the template sees: the page, and what it needs as a file.
type pageView struct {
	*Page
	CSS        template.CSS
	JS         template.JS
	ScriptHash string
	Download   template.URL // the runs as CSV
}

// MadeAt is when the page was made, in words; "" where that is not known.
func (v pageView) MadeAt() string {
	if v.Made.IsZero() {
		return ""
	}
	return v.Made.In(v.Zone).Format("2 January 2006 15:04 MST")
}

// Started is when a run started, in words; "" where that is not known.
func (v pageView) Started(r run.Run) string {
	if r.StartedAt.IsZero() {
		return ""
	}
	return r.StartedAt.In(v.Zone).Format("2006-01-02 15:04:05")
}

// classes of sentences in the page; each also has its own sign before it.
var classes = map[sentence.Tone]string{sentence.Good: "good", sentence.Doubtful: "doubt"}

// negative is a minus before a number, not between two.
var negative = regexp.MustCompile(`(^|[ (])-(\d)`)

// typeset keeps a number and its unit on one line, and writes a minus as one.
func typeset(text string) string {
	return negative.ReplaceAllString(sentence.Unbroken(text), "$1−$2")
}

// inline is a chart in one of its sizes; the page has its title and its words in
// elements of their own.
func inline(c *chart.Chart, s chart.Size) template.HTML {
	id := "chart-" + c.Name
	return template.HTML(chart.Inline(c, s, id+"-title", id+"-alt"))
}

// results are the results of a run on one line.
func results(r run.Run) string {
	var list []string
	for _, name := range slices.Sorted(maps.Keys(r.Results)) {
		x := r.Results[name]
		list = append(list, strings.TrimSpace(name+" "+strconv.FormatFloat(x.Value, 'g', 6, 64)+" "+x.Unit))
	}
	return strings.Join(list, ", ")
}

// remarks are the lines beneath a run: why it does not count, what was found, and what
// the tester wrote.
func remarks(r run.Run) []string {
	var list []string
	if r.Why != "" {
		list = append(list, "why: "+r.Why)
	}
	for _, f := range r.Findings {
		if string(f.Code)+": "+f.Text != r.Why {
			list = append(list, fmt.Sprintf("%s %s: %s", f.Severity, f.Code, f.Text))
		}
	}
	if r.Note != "" {
		list = append(list, "note of the tester: "+r.Note)
	}
	return list
}

func optional(v *float64) string {
	if v == nil {
		return ""
	}
	return sentence.Significant(*v)
}
