package browser_test

import (
	"strings"
	"testing"
	"time"

	"sweepd/internal/browser"
)

// noted stands in for what a headless browser has not: it notes each sound, vibration,
// notification and lock of the screen, and keeps the page's streams, to have more come by
// them than the live device does.
const noted = `
window.told = []; window.awake = 0; window.streams = [];
window.EventSource = class extends EventSource { constructor(u) { super(u); streams.push(this); this.addEventListener("glance", (m) => { window.glance = JSON.parse(m.data); }); } };
window.AudioContext = class { constructor() { this.currentTime = 0; } createOscillator() { const o = { frequency: {}, connect: (x) => x, start: () => told.push("sound"), stop() {} }; return o; }
	createGain() { return { gain: { setValueAtTime() {}, exponentialRampToValueAtTime() {} }, connect: (x) => x }; } };
Object.defineProperty(Navigator.prototype, "vibrate", { value: () => { told.push("vibration"); return true; } });
window.Notification = class { constructor(title, o) { told.push("notification: " + o.body); } static permission = "granted"; static async requestPermission() { return "granted"; } };
Object.defineProperty(Navigator.prototype, "wakeLock", { value: { request: async () => { awake++; const l = new EventTarget(); l.release = async () => { awake--; l.dispatchEvent(new Event("release")); }; return l; } } });
`

// TestAlerts: each thing that a person chose to be told of is told, in each way that was
// chosen, and nothing else; the screen stays on while a run is recording.
func TestAlerts(t *testing.T) {
	t.Parallel()
	l := startLive(t)
	l.command("plan", "new", "--workload", "tile-sort", "--settings", "10", "--supply", "mains", "--repeats", "1")
	p := browser.Start(t).NewPage()
	p.Before(noted)
	p.Size(360, 740, true)
	p.Open(l.url() + "/#now")
	p.Await("window.glance && document.querySelector('#when input')")
	tell := func(list string, label string) {
		t.Helper()
		if err := p.Eval("document.querySelector('#alerts').open = true", nil); err != nil {
			t.Fatal(err)
		}
		p.Click("#" + list + " label: " + label)
	}
	// told waits until something is told, in all three ways, and forgets it.
	told := func(text string) {
		t.Helper()
		p.Await("told.some((x) => x.startsWith('notification: ') && x.includes(" + browser.Quoted(text) + ")) && told.includes('sound') && told.includes('vibration')")
		if err := p.Eval("told.length = 0", nil); err != nil {
			t.Fatal(err)
		}
	}
	// more has a glance come that is another than the device's.
	more := func(change string) {
		t.Helper()
		if err := p.Eval("(() => { const g = structuredClone(glance); "+change+"; streams.at(-1).dispatchEvent(new MessageEvent('glance', { data: JSON.stringify(g) })); })()", nil); err != nil {
			t.Fatal(err)
		}
	}
	quiet := func(what string) {
		t.Helper()
		var list []string
		if err := p.Eval("told", &list); err != nil || len(list) > 0 {
			t.Errorf("%s: told %v, %v", what, list, err)
		}
	}
	l.command("demo", "unplug")
	p.Await("document.querySelector('#what').innerText.includes('battery')")
	quiet("nothing was chosen")
	for _, how := range []string{"with a sound", "with vibration", "with a notification"} {
		tell("how", how)
	}
	if err := p.Eval("told.length = 0", nil); err != nil { // each is tried where it is chosen
		t.Fatal(err)
	}
	tell("when", "the supply changed")
	l.command("demo", "plug")
	told("The supply is mains now")

	tell("when", "it is too hot")
	more("g.too_hot = [{ name: 'a drive', value: 84.9, age_s: 0 }]")
	told("Too hot: a drive is at 85 °C")
	more("g.too_hot = []")
	more("g.too_hot = [{ name: 'a drive', value: 84.9, age_s: 0 }]")
	quiet("to and fro at the limit")

	tell("when", "a sensor is lost")
	more("")
	more("g.missing = ['fan of a chip']")
	told("fan of a chip has no value any more")

	view(t, p, "run")
	p.Await("document.querySelector('#fit').innerText.includes('the run wants 10 W')")
	view(t, p, "now")
	tell("when", "the device is fit")
	l.command("demo", "set", "10W")
	told("The device is fit to start a run")

	tell("when", "a run ended")
	l.command("run", "start", "--workload", "tile-sort", "--setting", "10W")
	p.Await("window.awake === 1")
	l.command("run", "stop")
	told("The run of tile-sort ended")
	p.Await("window.awake === 0")
	view(t, p, "run")
	p.Click("#after button: Done")
	p.Await("document.querySelector('#start').offsetParent !== null")
	time.Sleep(1100 * time.Millisecond)
	p.Fill("#minutes", "0.05")
	if err := p.Eval("document.querySelector('#other').open = true", nil); err != nil {
		t.Fatal(err)
	}
	p.Fill("#workload", "tile-sort")
	p.Click("#start")
	told("The run of tile-sort ended") // by itself

	view(t, p, "now")
	tell("when", "the agent does not answer")
	l.kill()
	told("The device does not answer")
	if list := p.Complaints("Failed to load resource", "ERR_CONNECTION", "ERR_INCOMPLETE"); len(list) > 0 {
		t.Errorf("the page complains: %v", strings.Join(list, "\n"))
	}
}
