package report

import (
	"bytes"
	"context"
	"crypto/sha256"
	_ "embed"
	"encoding/base64"
	"fmt"
	"io"
	"maps"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"github.com/a-h/templ"

	"sweepd/report/chart"
	"sweepd/report/sentence"
	"sweepd/run"
)

//go:generate go -C ../deploy/tools tool templ generate -path ../../report

var (
	//go:embed page.css
	pageCSS string
	//go:embed page.js
	pageJS string
)

// HTML writes the page as one file that needs nothing else: every text is
// escaped by its place, the script is the page's own and known by its hash, and
// the page may load nothing.
func (p *Page) HTML(w io.Writer) error {
	var b bytes.Buffer // a VisibleWriter is given whole characters
	if err := document(p).Render(context.Background(), &b); err != nil {
		return err
	}
	_, err := run.VisibleWriter{To: w}.Write(b.Bytes())
	return err
}

// scriptHash is how the page's policy knows its script.
func scriptHash() string {
	hash := sha256.Sum256([]byte(pageJS))
	return "sha256-" + base64.StdEncoding.EncodeToString(hash[:])
}

// anchor is a link to a place on the page, which is no URL of another one whatever its name.
func anchor(id string) templ.SafeURL { return templ.SafeURL("#" + id) }

// download is a link that holds the runs as CSV.
func download(tidy []byte) templ.SafeURL {
	return templ.SafeURL("data:text/csv;charset=utf-8;base64," + base64.StdEncoding.EncodeToString(tidy))
}

// summary says how much there is of a section that is folded whole.
func summary(s Section) string {
	charts := len(s.Charts)
	for i := range s.Sections {
		charts += len(s.Sections[i].Charts)
	}
	return sentence.Counted(charts, "chart")
}

// maker is what made the page, and when, where that is known.
func maker(p *Page) string {
	by := "sweepd " + p.Version
	if p.Made.IsZero() {
		return by
	}
	return by + p.Made.In(p.Zone).Format(" on 2 January 2006 15:04 MST")
}

// started is when a run started, in words; "" where that is not known.
func started(p *Page, r run.Run) string {
	if r.StartedAt.IsZero() {
		return ""
	}
	return r.StartedAt.In(p.Zone).Format("2006-01-02 15:04:05")
}

// classes of sentences in the page; each also has its own sign before it.
var classes = map[sentence.Tone]string{sentence.Good: "good", sentence.Doubtful: "doubt"}

// negative is a minus before a number, not between two.
var negative = regexp.MustCompile(`(^|[ (])-(\d)`)

// minus writes a minus as one.
func minus(text string) string { return negative.ReplaceAllString(text, "$1−$2") }

// typeset keeps a number and its unit on one line, and writes a minus as one.
func typeset(text string) string { return minus(sentence.Unbroken(text)) }

// inline is a chart in one of its sizes; the page has its title and its words in
// elements of their own.
func inline(c *chart.Chart, s chart.Size) templ.Component {
	id := chartAnchor + c.Name
	return templ.Raw(chart.Inline(c, s, id+"-title", id+"-alt"))
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
