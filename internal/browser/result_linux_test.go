package browser_test

import (
	"strings"
	"testing"

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
