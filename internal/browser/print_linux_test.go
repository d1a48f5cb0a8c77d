package browser_test

import (
	"fmt"
	"net/url"
	"regexp"
	"slices"
	"testing"

	"sweepd/internal/browser"
)

// What a page does wrong is found: in print a heading alone at a page's end and a page
// that is more than half empty, on a phone what is small, wide or unnamed.
func TestFaultsAreFound(t *testing.T) {
	t.Parallel()
	b := browser.Start(t)
	open := func(body string) *browser.Page {
		p := b.NewPage()
		p.Size(390, 800, true)
		p.Open("data:text/html;charset=utf-8," + url.PathEscape("<!doctype html><html lang=en><meta name=viewport content='width=device-width'><title>t</title><style>@page { size: A4; margin: 15mm 14mm } p { height: 20mm; margin: 0; background: #ddd } * { print-color-adjust: exact }</style><main><h1>One</h1>"+body+"</main>"))
		p.Await("document.readyState === 'complete' && document.querySelector('main')")
		return p
	}
	text := func(n int) (s string) {
		for i := range n {
			s += fmt.Sprintf("<p>Paragraph %d</p>", i)
		}
		return s
	}
	for name, c := range map[string]struct {
		body string
		want []string
	}{
		"in order":        {text(20), nil},
		"a short last":    {text(14), nil},
		"a heading alone": {text(11) + "<h2 style='break-after: page'>Two words</h2>" + text(3), []string{`page 1 of 2 ends with the heading "Two words"`}},
		"half empty":      {text(2) + "<div style='break-after: page'></div>" + text(3), []string{"page 1 of 2: 7x % are empty"}},
	} {
		got := open(c.body).PrintFaults()
		for i, fault := range got { // fonts differ
			got[i] = regexp.MustCompile(`7\d %`).ReplaceAllString(fault, "7x %")
		}
		if !slices.Equal(got, c.want) {
			t.Errorf("%s: %q, want %q", name, got, c.want)
		}
	}
	for name, c := range map[string]struct {
		body string
		want int
	}{
		"nothing":              {"<p>A line with <a href='#'>a link</a> in it</p><button style='min-height: 44px; min-width: 44px'>Press</button>", 0},
		"a small button":       {"<button style='height: 30px; width: 60px'>Press</button>", 1},
		"what needs scrolling": {"<div style='width: 800px; height: 9px'></div>", 1},
		"no name":              {"<button style='height: 50px; width: 60px'></button>", 1},
	} {
		if got := open(c.body).Barriers(true); len(got) != c.want {
			t.Errorf("%s: %q, want %d", name, got, c.want)
		}
	}
}
