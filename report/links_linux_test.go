package report

import (
	"context"
	"testing"

	"sweepd/internal/browser"
)

// follow clicks every link of the page while all is folded, and lists those whose target is
// not shown then.
const follow = `(async () => {
	const lost = [];
	const links = [...document.querySelectorAll('main a[href^="#"], nav a[href^="#"], .skip')];
	for (const link of links) {
		for (const d of document.querySelectorAll("details")) { d.open = false; }
		history.replaceState(null, "", location.pathname);
		const went = new Promise((done) => addEventListener("hashchange", done, { once: true }));
		link.click();
		await went;
		const target = document.getElementById(link.hash.slice(1));
		if (!target || !target.checkVisibility({ contentVisibilityAuto: true }) || !target.getClientRects().length) { lost.push(link.outerHTML); }
	}
	return { count: links.length, lost };
})()`

// TestLinksUnfold follows the links from answers to charts, from charts to tables and back:
// what they lead to is shown, also where it was folded. Paper has all parts, but for tables.
func TestLinksUnfold(t *testing.T) {
	w, err := Write(context.Background(), t.TempDir(), Compose(demoInput(t)), Options{})
	if err != nil {
		t.Fatal(err)
	}
	p := browser.Start(t).NewPage()
	p.Size(1280, 900, false)
	p.Open("file://" + w.Page)
	p.Await("document.readyState === 'complete' && document.querySelector('figure svg')")
	var got struct {
		Count int
		Lost  []string
	}
	if err := p.Eval(follow, &got); err != nil {
		t.Fatal(err)
	}
	if got.Count < 30 || len(got.Lost) > 0 {
		t.Errorf("%d links, of which lead nowhere: %q", got.Count, got.Lost)
	}
	var charts, tabled, statements, linked, printed, all int
	for expression, into := range map[string]*int{
		"document.querySelectorAll('main figure').length":                                              &charts,
		"document.querySelectorAll('figcaption a[href*=table]').length":                                &tabled,
		"document.querySelectorAll('#answer-ahead li, #answer-set li, #answer-lasts li').length":       &statements,
		"document.querySelectorAll('#answer-ahead b a, #answer-set b a, #answer-lasts b a').length":    &linked,
		"(dispatchEvent(new Event('beforeprint')), document.querySelectorAll('details[open]').length)": &printed,
		"document.querySelectorAll('details.part').length":                                             &all,
	} {
		if err := p.Eval(expression, into); err != nil {
			t.Fatal(err)
		}
	}
	if tabled < charts/2 {
		t.Errorf("%d of %d charts lead to their tables", tabled, charts)
	}
	if linked < statements-2 || linked == 0 { // at equal package watts there is no chart
		t.Errorf("%d of %d answers lead to a chart", linked, statements)
	}
	if printed < all {
		t.Errorf("%d of %d parts are printed", printed, all)
	}
	if list := p.Complaints(); len(list) > 0 {
		t.Errorf("the page complains: %v", list)
	}
}
