package browser_test

import (
	"regexp"
	"strings"
	"syscall"
	"testing"
	"time"

	"sweepd/internal/browser"
)

// TestResultOfRun: a name near one that is known is asked about, another result can always
// be added, and a field that is emptied takes its result away, also in one go.
func TestResultOfRun(t *testing.T) {
	t.Parallel()
	l := startLive(t)
	l.command("run", "start", "--workload", "tile-sort", "--setting", "10W")
	l.command("run", "stop", "--result", "fps_mean=61fps")
	l.command("run", "start", "--workload", "tile-sort", "--setting", "10W")
	l.command("run", "stop", "--result", "score=7")
	p := browser.Start(t).NewPage()
	p.Size(360, 740, true)
	l.pair(p, l.url())
	p.Open(l.url() + "/#day")
	p.Click("#runs button")
	p.Await("document.querySelector('#sheet').open")
	p.Fill("#sheet label:first-child + input", "")
	p.Click("#sheet summary: Another result")
	p.Fill("#sheet input[placeholder=fps_mean]", "fps_maen")
	p.Fill("#sheet details input[inputmode=decimal]", "60,5")
	p.Fill("#sheet input[placeholder=fps]", "fps")
	p.Click("#sheet button: Save")
	p.Click("#sheet button: Use fps_mean")
	p.Await("document.querySelector('#said').innerText.includes('Saved: fps_mean 60.5 fps; Removed: score')")
	var list []struct {
		Results map[string]struct{ Value float64 }
	}
	unmarshal(t, l.command("run", "list", "--json"), &list)
	if r := list[len(list)-1].Results; len(r) != 1 || r["fps_mean"].Value != 60.5 {
		t.Errorf("%+v", list)
	}
	p.Click("#said button: Undo")
	p.Await("document.querySelector('#said').innerText.includes('As before')")
	if s := l.command("run", "list", "--json"); !strings.Contains(s, `"score"`) || strings.Contains(s, "60.5") {
		t.Error(s)
	}
}

// TestNeedsALook: what needs a look opens the run that it is of, and wherever the page says
// what was found it says times as the reader's clock has them, whose zone may be no whole
// hour from UTC.
func TestNeedsALook(t *testing.T) {
	t.Parallel()
	l := startLive(t)
	l.command("run", "start", "--workload", "tile-sort", "--setting", "15W")
	time.Sleep(time.Second)
	for _, s := range []syscall.Signal{syscall.SIGSTOP, syscall.SIGCONT} { // no sweep for long
		if err := l.cmd.Process.Signal(s); err != nil {
			t.Fatal(err)
		}
		time.Sleep(4 * time.Second)
	}
	l.command("run", "stop", "--result", "seconds=12s", "--lower", "seconds")
	found := regexp.MustCompile(`without a sweep .* from (\d\d:\d\d:\d\d) UTC:`).FindStringSubmatch(l.command("run", "list", "--json"))
	if found == nil {
		t.Fatal("no gap was found")
	}
	at, err := time.Parse("15:04:05", found[1])
	if err != nil {
		t.Fatal(err)
	}
	clock := "s from " + at.Add(5*time.Hour+30*time.Minute).Format("15:04:05") + ":" // India has UTC+05:30, always (tz database)
	p := browser.Start(t).NewPage()
	p.Size(360, 740, true)
	p.Locale("de-DE")
	p.Zone("Asia/Kolkata")
	l.pair(p, l.url())
	p.Open(l.url() + "/#day")
	for _, place := range []string{"#look", "#runs", "#sheet"} {
		p.Await("document.querySelector('" + place + "').innerText.includes('without a sweep')")
		if said := p.Text(place); !strings.Contains(said, clock) || strings.Contains(said, "UTC") {
			t.Errorf("%s says %q, want %q", place, said, clock)
		}
		if place == "#runs" {
			p.Click("#look button: Show the run")
		}
	}
	for _, fault := range p.Barriers(true) {
		t.Error(fault)
	}
}
