package browser_test

import (
	"fmt"
	"html"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"sweepd/internal/browser"
)

// TestViews looks at each view in both sizes and themes: axe-core finds nothing (WCAG 2.2
// A and AA and its best practices), targets have 44 px, nothing is wider than the display.
// SWEEPD_LOOK=DIR writes pictures, for somebody to look at.
func TestViews(t *testing.T) {
	if testing.Short() {
		t.Skip("it takes a minute")
	}
	t.Parallel()
	l := startLive(t)
	p := browser.Start(t).NewPage()
	look := func(name string) { t.Helper(); lookAt(t, p, name) }
	p.Size(360, 740, true)
	p.Open(l.url() + "/pair")
	p.Await("document.querySelector('#code')")
	look("pair")
	p.Open(l.url() + "/#run")
	p.Await("document.querySelector('#next').innerText.includes('No plan')")
	look("empty")

	l.command("plan", "new", "--workload", "harbour-flight", "--workload", "tile-sort", "--settings", "10,15,20,25", "--repeats", "2", "--seed", "3")
	for _, s := range []string{"10W", "20W"} {
		l.command("demo", "set", s)
		l.command("run", "start", "--workload", "harbour-flight", "--setting", s)
		l.command("demo", "play", "harbour-flight", "--for", "5s")
		l.command("run", "stop", "--result", "fps_mean=61.3fps")
	}
	l.command("demo", "unplug")
	p.Open("about:blank")
	p.Await("location.href === 'about:blank'")
	l.pair(p, l.url())
	p.Await("document.querySelector('#steps button') && document.querySelector('#values dd').innerText.includes('W')")
	p.Click("#alerts summary")
	look("now")
	p.Open(l.url() + "/#run")
	p.Await("document.querySelector('#next strong')")
	p.Click("#other summary")
	look("run")
	p.Click("#other summary")
	time.Sleep(1100 * time.Millisecond)
	p.Click("#start")
	p.Await("!document.querySelector('#running').hidden")
	look("recording")
	p.Click("#stop")
	p.Await("document.querySelector('#after form')")
	look("after")
	p.Open(l.url() + "/#day")
	p.Await("document.querySelector('#plan table')")
	p.Click("#corrected summary")
	look("day")
	p.Click("#runs button")
	p.Await("document.querySelector('#sheet').open")
	p.Click("#sheet summary: Correct")
	look("sheet")
	p.Press("Escape")
	l.command("import", table(t, l.dir))
	p.Open("about:blank")
	p.Await("location.href === 'about:blank'")
	p.Open(l.url() + "/#compare")
	p.AwaitWithin("document.querySelector('#report .lead') && [...document.querySelectorAll('#report img')].some((i) => i.complete && i.naturalWidth > 0)", time.Minute)
	p.Await("document.querySelector('#compared a[download=\"report.html\"]').href.startsWith('blob:')")
	look("compare")
	// What it says is what the report says.
	l.command("report", "--out", filepath.Join(l.dir, "report"))
	report, err := os.ReadFile(filepath.Join(l.dir, "report", "report.html"))
	if err != nil {
		t.Fatal(err)
	}
	said := strings.Join(strings.Fields(html.UnescapeString(tag.ReplaceAllString(string(report), ""))), " ")
	var leads []string
	if err := p.Eval("[...document.querySelectorAll('#report .lead')].map((e) => e.textContent)", &leads); err != nil || len(leads) == 0 {
		t.Fatal(leads, err)
	}
	for _, lead := range leads {
		if lead = strings.Join(strings.Fields(lead), " "); !strings.Contains(said, lead) {
			t.Errorf("the page says %q, and the report does not", lead)
		}
	}
	p.Click("#report details:last-of-type summary")
	p.Await("[...document.querySelectorAll('#report details[open] img')].some((i) => i.complete && i.naturalWidth > 0)")
	p.Click("#report details summary")
	look("compared")
	l.kill()
	p.Await("!document.querySelector('#lost').hidden")
	look("lost")
}

// lookAt looks at what a page shows now in each size and theme, and leaves it as on a phone.
func lookAt(t *testing.T, p *browser.Page, name string) {
	t.Helper()
	for _, dark := range []bool{false, true} {
		for kind, size := range lookedAt {
			view := fmt.Sprintf("%s-%s-%s", name, kind, map[bool]string{false: "light", true: "dark"}[dark])
			p.Dark(dark)
			p.Size(size.width, size.height, size.touch)
			time.Sleep(200 * time.Millisecond)
			for _, fault := range p.Barriers(true) {
				t.Errorf("%s: %s", view, fault)
			}
			if dir := os.Getenv("SWEEPD_LOOK"); dir != "" {
				p.Screenshot(filepath.Join(dir, view+".png"))
			}
		}
	}
	p.Size(360, 740, true)
}

// lookedAt are the sizes of TestDay, and a phone that was rotated.
var lookedAt = map[string]size{"phone": sizes["phone"], "desktop": sizes["desktop"], "rotated": {740, 360, true}}

var tag = regexp.MustCompile(`<[^>]*>`)

// table is one of runs of two devices.
func table(t *testing.T, dir string) string {
	text := "device,workload,supply,setting_w,started_at,duration_s,package_w,system_w,fps_mean\n"
	for i := range 24 {
		device := []string{"unit-oak", "unit-elm"}[i%2]
		text += fmt.Sprintf("%s,harbour-flight,mains,%d,2026-05-04T%02d:%02d:00Z,60,%d,%d,%d.%d\n", device, 10+5*(i/2%3), 9+i/12, i%12*5, 9+5*(i/2%3), 14+5*(i/2%3), 40+8*(i/2%3)+i%2, i%7)
	}
	path := filepath.Join(dir, "table.csv")
	if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	return path
}
