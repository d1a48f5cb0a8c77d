package browser_test

import (
	"bufio"
	"encoding/json"
	"errors"
	"fmt"
	"net"
	"os"
	"os/exec"
	"regexp"
	"strings"
	"testing"
	"time"

	"sweepd/internal/browser"
)

// size is that of a display, CSS px.
type size struct {
	width, height int
	touch         bool
}

// sizes are those of a small phone and of a desktop.
var sizes = map[string]size{"phone": {360, 740, true}, "desktop": {1280, 900, false}}

// TestDay drives a test day from a phone and from a desktop, on a live simulated handheld,
// with what goes wrong on one.
func TestDay(t *testing.T) {
	if testing.Short() {
		t.Skip("a day takes a minute")
	}
	t.Parallel()
	for name, size := range sizes {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			l := startLive(t)
			l.command("plan", "new", "--workload", "harbour-flight", "--workload", "tile-sort", "--settings", "10,15", "--repeats", "1", "--seed", "3")
			chromium := browser.Start(t)
			p := chromium.NewPage()
			p.Size(size.width, size.height, size.touch)
			d := &day{t: t, l: l, p: p, other: chromium.NewPage(), link: newLink(t, "127.0.0.1:"+l.port), otherLink: newLink(t, "127.0.0.1:"+l.port)}
			for p, k := range map[*browser.Page]*link{d.p: d.link, d.other: d.otherLink} { // only who is paired may correct
				l.pair(p, k.url)
			}
			d.now()
			d.run()
			d.twoPhones()
			d.networkLost()
			d.plugPulled()
			d.slip()
			d.stopsByItself()
			d.restart()
			for _, url := range p.Asked() {
				if !strings.HasPrefix(url, d.link.url+"/") && !strings.HasPrefix(url, "data:") && !strings.HasPrefix(url, "blob:"+d.link.url+"/") {
					t.Errorf("the page asks for %s", url)
				}
			}
			// What the browser says of requests that failed, as they had to, is no complaint of the page.
			if list := p.Complaints("Failed to load resource", "ERR_INTERNET_DISCONNECTED", "ERR_CONNECTION", "ERR_INCOMPLETE", "ERR_EMPTY"); len(list) > 0 {
				t.Errorf("the page complains: %v", list)
			}
		})
	}
}

type day struct {
	t        *testing.T
	l        *live
	p, other *browser.Page

	link, otherLink *link // between them and the agent
}

func (d *day) view(name string) {
	d.t.Helper()
	view(d.t, d.p, name)
}

// said waits for what the page says.
func (d *day) said(text string) {
	d.t.Helper()
	d.p.Await("document.querySelector('#said').innerText.includes('" + text + "')")
}

// tapWhenReady taps Start or Stop as soon as it counts, see tooSoon in the page.
func (d *day) tapWhenReady(p *browser.Page, button string) {
	d.t.Helper()
	p.Await("document.querySelector('" + button + "').offsetParent !== null")
	time.Sleep(1100 * time.Millisecond)
	p.Click(button)
}

// start changes by hand what the page says, as the person who tests does, and starts.
func (d *day) start() {
	d.t.Helper()
	if watts := regexp.MustCompile(`(\d+) W`).FindStringSubmatch(d.p.Text("#next p:has(strong)")); watts != nil {
		d.l.command("demo", "set", watts[1]+"W")
	}
	d.tapWhenReady(d.p, "#start")
}

// elapsed waits until a run has lasted so many seconds, or some more, as the page shows it.
func (d *day) elapsed(seconds int) {
	d.t.Helper()
	d.p.Await(fmt.Sprintf("document.querySelector('#stop').offsetParent !== null && document.querySelector('#elapsed').innerText.split(':').reduce((m, s) => 60 * m + Number(s), 0) >= %d", seconds))
}

// runs are those that the command line lists.
func (d *day) runs() (list []struct {
	ID, Workload, State, Supply string
	Results                     map[string]struct{ Value float64 }
}) {
	d.t.Helper()
	if err := json.Unmarshal([]byte(d.l.command("run", "list", "--json")), &list); err != nil {
		d.t.Fatal(err)
	}
	return list
}

func (d *day) now() {
	d.p.Await("[...document.querySelectorAll('#values .much')].length === 4 && !document.querySelector('#values .much').innerText.startsWith('–')")
	d.p.Click("#steps button: 15 W")
	d.said("15 W is declared")
	d.p.Await("document.querySelector('#steps button[aria-pressed=true]').innerText === '15 W'")
	if s := d.l.command("setting"); !strings.Contains(s, "15W") || !strings.Contains(s, "the page") {
		d.t.Errorf("the agent says %s", s)
	}
	d.p.Click("#said button: Undo")
	d.said("taken back")
	if s := d.l.command("setting"); strings.Contains(s, "declared by the page") {
		d.t.Errorf("after the undo the agent says %s", s)
	}
	d.p.Await("document.querySelector('#values .age').innerText.match(/read|old/)")
}

// inSight tells whether all of an element is on the display.
func inSight(selector string) string {
	return "(() => { const r = document.querySelector('" + selector + "').getBoundingClientRect(); return r.height > 0 && r.top >= 0 && r.bottom <= innerHeight; })()"
}

func (d *day) run() {
	d.view("run")
	d.p.Await("document.querySelector('#next p:has(strong)')")
	next := d.p.Text("#next strong")
	// A declaration sets nothing: the step stays while the system reports another value.
	watts := regexp.MustCompile(`(\d+) W`).FindStringSubmatch(d.p.Text("#next p:has(strong)"))[1]
	d.l.command("demo", "set", "25W")
	d.view("now")
	d.p.Click("#steps button: " + watts + " W")
	d.said("is declared")
	d.view("run")
	d.p.Await("document.querySelector('#next ol').innerText.includes('set " + watts + " W on the device: the system reports 25 W')")
	d.view("now")
	d.p.Click("#steps button: As the system")
	d.said("Nothing is declared")
	d.view("run")
	d.start()
	d.elapsed(2)
	d.p.Await("document.querySelector('#live').innerText.match(/W · .*°C · .*%/)")
	if s := d.l.command("status"); !strings.Contains(s, next) {
		d.t.Errorf("%s is not recording: %s", next, s)
	}
	d.p.Reload()
	d.p.Await("document.querySelector('#stop').offsetParent !== null && document.querySelector('#cell').innerText.includes('" + next + "')")
	// What is not known yet is not said.
	if err := d.p.Eval("window.falsely = false; new MutationObserver(() => { window.falsely ||= document.querySelector('#next').textContent.includes('done'); }).observe(document.querySelector('#next'), { childList: true, subtree: true })", nil); err != nil {
		d.t.Fatal(err)
	}
	d.tapWhenReady(d.p, "#stop")
	d.said("Stopped after")
	d.p.Await("document.querySelector('#next strong')")
	if falsely := true; d.p.Eval("window.falsely", &falsely) != nil || falsely {
		d.t.Error("the page says that the plan is done")
	}
	d.p.Reload() // the run has no result yet
	d.p.Await("document.querySelector('#after form')")
	d.p.Fill("#after input[placeholder=fps_mean]", "the score")
	d.p.Fill("#after input[inputmode=decimal]", "61,25")
	d.p.Click("#after button: Save")
	d.p.Await("document.querySelector('#sheet').open && document.querySelector('#sheet').innerText.includes('the_score')")
	d.p.Press("Escape")
	d.p.Await("!document.querySelector('#sheet').open")
	if r := d.runs()[0]; len(r.Results) != 0 {
		d.t.Errorf("nothing was said to be right: %+v", r)
	}
	d.p.Fill("#after input[placeholder=fps_mean]", "score")
	d.p.Fill("#after input[inputmode=decimal]", "1,234")
	d.p.Click("#after button: Save")
	d.said("may be 1.234 or 1234")
	d.p.Fill("#after input[inputmode=decimal]", "61,25")
	d.p.Click("#after button: Save")
	d.said("Saved: score 61.25")
	d.p.Click("#said button: Undo")
	d.said("As before")
	if r := d.runs()[0]; len(r.Results) != 0 {
		d.t.Errorf("after the undo: %+v", r)
	}
	d.p.Await("document.querySelector('#after details[open]')") // the form of a run without results; the one before is folded
	d.p.Fill("#after input[placeholder=fps_mean]", "score")
	d.p.Fill("#after input[inputmode=decimal]", "61.5")
	d.p.Press("Enter")
	d.said("Saved: score 61.5")
	if r := d.runs()[0]; r.State != "finished" || r.Results["score"].Value != 61.5 {
		d.t.Errorf("%+v", r)
	}
}

// twoPhones see the same, and the second tap of a stop that was done says so, however late
// the network lets it through.
func (d *day) twoPhones() {
	d.other.Size(360, 740, true)
	d.other.Open(d.otherLink.url + "/#run")
	d.start()
	d.p.Await("document.querySelector('#stop').offsetParent !== null")
	d.other.Await("document.querySelector('#stop').offsetParent !== null")
	time.Sleep(1100 * time.Millisecond)
	d.otherLink.set(true)
	d.p.Click("#stop")
	d.said("Stopped after")
	d.other.Click("#stop")
	d.other.Await("document.querySelector('#said').innerText.includes('asking again')")
	d.start() // another run, which the late tap does not mean
	d.p.Await("document.querySelector('#after form')")
	d.p.Await(inSight("#stop"))
	d.otherLink.set(false)
	d.other.Await("document.querySelector('#said').innerText.includes('was stopped already')")
	if s := d.l.command("status", "--json"); !strings.Contains(s, `"state": "recording"`) && !strings.Contains(s, `"state":"recording"`) {
		d.t.Errorf("the late tap ended another run: %s", s)
	}
	d.tapWhenReady(d.p, "#stop")
	d.said("Stopped after")
}

// networkLost shows within 3 s, and what happened meanwhile is there afterwards.
func (d *day) networkLost() {
	d.p.Await("document.querySelector('#lost').hidden")
	// The browser's timers are late on a busy machine; by how much is measured beside.
	if err := d.p.Eval(`window.late = 0; window.lostAt = undefined;
		new MutationObserver(() => { window.lostAt ??= performance.now(); }).observe(document.querySelector('#lost'), { attributes: true });
		{ let before = performance.now(); setInterval(() => { const now = performance.now(); if (!window.lostAt) window.late += Math.max(0, now - before - 50); before = now; }, 50); }`, nil); err != nil {
		d.t.Fatal(err)
	}
	d.link.set(true)
	if err := d.p.Eval("window.wentAt = performance.now(), window.late = 0", nil); err != nil {
		d.t.Fatal(err)
	}
	d.p.Await("!document.querySelector('#lost').hidden")
	var took, late float64
	if err := errors.Join(d.p.Eval("window.lostAt - window.wentAt", &took), d.p.Eval("window.late", &late)); err != nil || took-late > 3000 {
		d.t.Errorf("a lost connection shows after %.0f ms, %.0f ms of which the timers were late, %v", took, late, err)
	}
	d.l.command("run", "start", "--workload", "tile-sort", "--setting", "10W")
	d.l.command("run", "stop", "--result", "score=77")
	d.link.set(false)
	d.p.AwaitWithin("document.querySelector('#lost').hidden", 40*time.Second)
	d.view("day")
	d.p.Await("document.querySelector('#runs li').innerText.includes('77')")
	d.view("run")
	d.p.Await("document.querySelector('#after').innerText.includes('tile-sort')")
}

func (d *day) plugPulled() {
	d.start()
	d.p.Await("document.querySelector('#stop').offsetParent !== null")
	from, to := "mains", "battery"
	if strings.Contains(d.p.Text("#cell"), "battery") {
		from, to = to, from
	}
	d.view("now")
	d.p.Click("#alerts summary")
	d.p.Click("#when label: the supply changed")
	d.l.command("demo", map[string]string{"mains": "plug", "battery": "unplug"}[to])
	d.said("The supply is " + to + " now")
	d.view("run")
	d.p.Await("[...document.querySelectorAll('#values dt')].some((e) => e.textContent.includes('on " + to + "'))")
	d.p.Await("document.querySelector('#spoilt').innerText.includes('will be rejected')")
	d.elapsed(6) // a run that is too short tells little
	d.tapWhenReady(d.p, "#stop")
	d.p.Await("document.querySelector('#after .finding.reject')")
	d.p.Fill("#after input[placeholder='why it counts after all']", "meant, to see what happens")
	d.p.Click("#after button: Keep")
	d.said("It counts")
	if r := d.runs(); r[len(r)-1].State != "finished" {
		d.t.Errorf("%+v", r[len(r)-1])
	}
	d.p.Click("#said button: Undo")
	d.said("As before")
	if r := d.runs(); r[len(r)-1].State != "rejected" || r[len(r)-1].Supply != from {
		d.t.Errorf("%+v", r[len(r)-1])
	}
	d.l.command("demo", map[string]string{"mains": "plug", "battery": "unplug"}[from])
}

// slip is a workload that was typed wrong, corrected and taken back.
func (d *day) slip() {
	d.view("day")
	d.p.Click("#runs button")
	d.p.Await("document.querySelector('#sheet').open")
	d.p.Click("#sheet summary: Correct")
	d.p.Fill("#sheet details form input", "harbour-fligth")
	d.p.Click("#sheet details button: Correct")
	d.said("Corrected")
	d.p.Await("document.querySelector('#runs li').innerText.includes('harbour-fligth')")
	d.p.Click("#said button: Undo")
	d.said("taken back")
	d.p.Await("!document.querySelector('#runs').innerText.includes('harbour-fligth')")
	d.p.Click("#corrected summary")
	d.p.Await("document.querySelector('#corrected').innerText.includes('taken back')")
}

func (d *day) stopsByItself() {
	d.view("run")
	d.p.Fill("#minutes", "0,05") // 3 s
	d.start()
	d.p.Await("document.querySelector('#stops').innerText.includes('stops by itself in')")
	d.p.Await("document.querySelector('#start').offsetParent !== null")
	d.p.Await("document.querySelector('#after').innerText.includes('finished, 0:03')")
	d.p.Fill("#minutes", "")
}

// restart of the agent in a run: the page says so, comes back and shows what became of it.
func (d *day) restart() {
	d.start()
	d.elapsed(3)
	d.l.kill()
	d.p.Await("!document.querySelector('#lost').hidden")
	d.l.start()
	d.p.Await("document.querySelector('#lost').hidden")
	d.p.Await("document.querySelector('#start').offsetParent !== null")
	d.view("day")
	d.p.Await("document.querySelector('#runs li').innerText.includes('interrupted')")
}

// TestKeyboardAndLocale starts and stops a run without a pointer, and reads numbers as the
// reader writes them.
func TestKeyboardAndLocale(t *testing.T) {
	t.Parallel()
	l := startLive(t)
	l.command("plan", "new", "--workload", "tile-sort", "--settings", "12.5", "--repeats", "1")
	p := browser.Start(t).NewPage()
	p.Locale("de-DE")
	p.Size(360, 740, true)
	p.Open(l.url() + "/#run")
	p.Await("document.querySelector('#start small') && document.querySelector('#next').innerText.includes('12,5 W')")
	time.Sleep(1100 * time.Millisecond)
	focused := func(selector string) bool {
		var is bool
		if err := p.Eval("document.activeElement.matches("+browser.Quoted(selector)+")", &is); err != nil {
			t.Fatal(err)
		}
		return is
	}
	for n := 0; !focused("#start"); n++ {
		if p.Press("Tab"); n > 40 {
			t.Fatal("Tab does not lead to Start")
		}
	}
	p.Press("Enter")
	p.Await("document.activeElement.id === 'cell'") // not Stop, which a second Enter would press
	time.Sleep(1100 * time.Millisecond)
	for n := 0; !focused("#stop"); n++ {
		if p.Press("Tab"); n > 10 {
			t.Fatal("Tab does not lead to Stop")
		}
	}
	p.Press("Enter")
	p.Await("document.querySelector('#said').innerText.includes('Stopped after')")
	p.Await("document.activeElement.id === 'idle'")
	p.Open(l.url() + "/#now")
	p.Await("document.querySelector('#values .much').innerText.match(/^[0-9]+,[0-9] W$/)")
}

// TestFirstPaint: something is in sight within 0.5 s of asking for the page. Of five times
// the best counts: the machine may be busy.
func TestFirstPaint(t *testing.T) {
	l := startLive(t)
	p := browser.Start(t).NewPage()
	best := 1e9
	for range 5 {
		p.Open("about:blank")
		p.Await("location.href === 'about:blank'")
		p.Open(l.url())
		p.Await("performance.getEntriesByName('first-contentful-paint').length")
		var ms float64
		if err := p.Eval("performance.getEntriesByName('first-contentful-paint')[0].startTime", &ms); err != nil {
			t.Fatal(err)
		}
		best = min(best, ms)
	}
	if t.Logf("first contentful paint after %.0f ms", best); best > 500 {
		t.Errorf("first contentful paint after %.0f ms", best)
	}
}

// TestPairedPhone pairs a phone from another address, tries wrong codes, and revokes it.
func TestPairedPhone(t *testing.T) {
	t.Parallel()
	address := otherAddress(t)
	l := startLiveOn(t, "0.0.0.0")
	at := "http://" + net.JoinHostPort(address, l.port)
	p := browser.Start(t).NewPage()
	p.Size(360, 740, true)
	p.Open(at)
	p.Await("document.querySelector('h1').innerText === 'Pair this phone'")
	p.Fill("#code", "abcd-efgh")
	p.Press("Enter")
	p.Await("document.querySelector('#said').innerText.includes('this code is wrong')")
	p.Await(inSight("#said"))
	var x struct {
		Code, Name string
		Addresses  []string
	}
	pairing := func() {
		t.Helper()
		if err := json.Unmarshal([]byte(l.command("console", "pair", "--name", "my phone", "--json")), &x); err != nil || len(x.Addresses) == 0 || x.Addresses[0] != at {
			t.Fatalf("%+v, %v", x, err)
		}
	}
	pairing()
	p.Open(at + "/?#pair=" + x.Code)
	p.Await("document.querySelector('#values dd')")
	var where string
	if err := p.Eval("location.href + document.cookie", &where); err != nil || where != at+"/" {
		t.Errorf("the code stays, or a script reads the token: %q, %v", where, err)
	}
	if list := l.command("console", "list"); !strings.Contains(list, "my phone") {
		t.Error(list)
	}
	p.Await("document.querySelector('#values dd').innerText.includes('W')")
	if offered := l.command("__complete", "console", "revoke", ""); !strings.HasPrefix(offered, "my phone\n") && !strings.Contains(offered, "\nmy phone\n") {
		t.Errorf("console revoke offers %q", offered)
	}
	l.command("console", "revoke", "my phone")
	p.Await("document.readyState === 'complete' && document.querySelector('h1').innerText === 'Pair this phone'")
	time.Sleep(time.Second)         // several questions were refused, and each leads there
	p.Open(at + "/#pair=" + x.Code) // used once already
	p.Await("document.querySelector('#said').innerText.includes('this code is wrong')")
	pairing()
	p.Fill("#code", strings.ToLower(x.Code))
	p.Click("button")
	p.Await("document.querySelector('#values dd')")

	// In a terminal the command waits until the phone has come.
	cmd := exec.Command(program, "console", "pair", "--name", "another phone")
	cmd.Env = append(os.Environ(), "SWEEPD_AGENT="+l.url())
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	said := ""
	for in := bufio.NewScanner(out); in.Scan(); {
		said += in.Text() + "\n"
		if code, ok := strings.CutPrefix(in.Text(), "code "); ok {
			p.Open(at + "/pair")
			p.Await("document.readyState === 'complete' && document.querySelector('#code')")
			p.Fill("#code", code)
			p.Press("Enter")
		}
	}
	if err := cmd.Wait(); err != nil || !strings.HasSuffix(said, "\"another phone\" is paired\n") || !strings.Contains(said, "open "+at) {
		t.Errorf("%v:\n%s", err, said)
	}
}

func otherAddress(t *testing.T) string {
	t.Helper()
	list, _ := net.InterfaceAddrs()
	for _, a := range list {
		if n, ok := a.(*net.IPNet); ok && !n.IP.IsLoopback() && n.IP.To4() != nil {
			return n.IP.String()
		}
	}
	t.Skip("this machine has no address but loopback")
	return ""
}
