package browser

import (
	"encoding/base64"
	"encoding/json"
	"os"
	"strings"
	"testing"
	"time"
)

// Page is an open page.
type Page struct {
	t       testing.TB
	b       *Browser
	session string

	complaints []string // guarded by Browser.mu
	asked      []string
}

// heard takes in what the page does.
func (p *Page) heard(method string, params json.RawMessage) {
	switch method {
	case "Runtime.exceptionThrown", "Log.entryAdded", "Runtime.consoleAPICalled":
		var x struct {
			Entry struct{ Level, Text, URL string }
			Type  string
		}
		_ = json.Unmarshal(params, &x)
		if method == "Log.entryAdded" && x.Entry.Level != "error" && x.Entry.Level != "warning" {
			return
		}
		p.complaints = append(p.complaints, method+" "+string(params))
	case "Network.requestWillBeSent":
		var x struct{ Request struct{ URL string } }
		_ = json.Unmarshal(params, &x)
		p.asked = append(p.asked, x.Request.URL)
	}
}

// Complaints are the errors and warnings of the page so far, but for those that contain one
// of the texts.
func (p *Page) Complaints(but ...string) (list []string) {
	p.b.mu.Lock()
	defer p.b.mu.Unlock()
next:
	for _, c := range p.complaints {
		for _, b := range but {
			if strings.Contains(c, b) {
				continue next
			}
		}
		list = append(list, c)
	}
	return list
}

// Asked are the URLs that the page asked for.
func (p *Page) Asked() []string {
	p.b.mu.Lock()
	defer p.b.mu.Unlock()
	return append([]string(nil), p.asked...)
}

func (p *Page) must(method string, params, result any) {
	p.t.Helper()
	must(p.t, p.b.call(p.session, method, params, result))
}

// Open goes to a URL.
func (p *Page) Open(url string) {
	p.t.Helper()
	p.must("Page.navigate", map[string]any{"url": url}, nil)
}

// Before runs a script before those of each page that is loaded from now on.
func (p *Page) Before(script string) {
	p.t.Helper()
	p.must("Page.addScriptToEvaluateOnNewDocument", map[string]any{"source": script}, nil)
}

// Reload loads it anew.
func (p *Page) Reload() {
	p.t.Helper()
	p.must("Page.reload", nil, nil)
}

// Size makes the page so many CSS pixels large; touch is for phones.
func (p *Page) Size(width, height int, touch bool) {
	p.t.Helper()
	p.must("Emulation.setDeviceMetricsOverride", map[string]any{"width": width, "height": height, "deviceScaleFactor": 1, "mobile": touch}, nil)
}

// Dark has the system prefer a dark page, or a light one.
func (p *Page) Dark(dark bool) {
	p.t.Helper()
	p.must("Emulation.setEmulatedMedia", map[string]any{"features": []map[string]string{{"name": "prefers-color-scheme", "value": map[bool]string{true: "dark", false: "light"}[dark]}}}, nil)
}

// Locale has the system speak a language, such as de-DE; a page that is loaded then does.
func (p *Page) Locale(name string) {
	p.t.Helper()
	p.must("Emulation.setLocaleOverride", map[string]any{"locale": name}, nil)
}

// Zone has the system's clock be that of a time zone, such as Asia/Kolkata.
func (p *Page) Zone(name string) {
	p.t.Helper()
	p.must("Emulation.setTimezoneOverride", map[string]any{"timezoneId": name}, nil)
}

// Eval evaluates an expression, or waits for the promise that it is, into result.
func (p *Page) Eval(expression string, result any) error {
	var x struct {
		Result           struct{ Value json.RawMessage }
		ExceptionDetails *struct {
			Text      string
			Exception struct{ Description string }
		}
	}
	if err := p.b.call(p.session, "Runtime.evaluate", map[string]any{"expression": expression, "awaitPromise": true, "returnByValue": true, "userGesture": true}, &x); err != nil {
		return err
	}
	if d := x.ExceptionDetails; d != nil {
		return &scriptError{d.Text + " " + d.Exception.Description}
	}
	if result == nil || len(x.Result.Value) == 0 {
		return nil
	}
	return json.Unmarshal(x.Result.Value, result)
}

type scriptError struct{ text string }

func (e *scriptError) Error() string { return e.text }

// Await waits until an expression is true.
func (p *Page) Await(expression string) {
	p.t.Helper()
	p.AwaitWithin(expression, patience)
}

// AwaitWithin waits so long until an expression is true.
func (p *Page) AwaitWithin(expression string, within time.Duration) {
	p.t.Helper()
	var err error
	for end := time.Now().Add(within); ; time.Sleep(50 * time.Millisecond) {
		var good bool
		if err = p.Eval("!!("+expression+")", &good); good {
			return
		}
		if time.Now().After(end) {
			p.t.Fatalf("%s is not so within %v (%v); the page:\n%s", expression, within, err, p.text())
		}
	}
}

// text is all that the page says, "" where it says nothing.
func (p *Page) text() (text string) {
	_ = p.Eval("document.body.innerText", &text)
	return text
}

// Text is that of the first element that a selector finds, as soon as there is one.
func (p *Page) Text(selector string) (text string) {
	p.t.Helper()
	p.Await("document.querySelector(" + Quoted(selector) + ")")
	must(p.t, p.Eval("document.querySelector("+Quoted(selector)+").innerText", &text))
	return text
}

// Quoted is a text as a script has it.
func Quoted(s string) string {
	text, _ := json.Marshal(s) // a string always goes
	return string(text)
}

// Click clicks in the middle of the first visible element that a selector finds, or whose
// text is that after a colon ("button: Undo"), as a hand would: where the page moved while
// the finger came down, and it hit something else, it tries again.
func (p *Page) Click(selector string) {
	p.t.Helper()
	css, text, _ := strings.Cut(selector, ": ")
	find := "[...document.querySelectorAll(" + Quoted(css) + ")].find((e) => e.offsetParent !== null && e.innerText.trim().startsWith(" + Quoted(text) + "))"
	for end := time.Now().Add(patience); ; time.Sleep(50 * time.Millisecond) {
		var at *struct{ X, Y float64 }
		err := p.Eval("(async () => { let e = "+find+"; if (!e) return null; e.scrollIntoView({ block: 'center', behavior: 'instant' }); await new Promise(requestAnimationFrame);"+
			"e = "+find+"; if (!e) return null; window.hit = false; e.addEventListener('click', () => { window.hit = true; }, { capture: true, once: true });"+
			"const r = e.getBoundingClientRect(); return { x: r.x + r.width / 2, y: r.y + r.height / 2 }; })()", &at)
		if err == nil && at != nil {
			for _, kind := range []string{"mousePressed", "mouseReleased"} {
				p.must("Input.dispatchMouseEvent", map[string]any{"type": kind, "x": at.X, "y": at.Y, "button": "left", "clickCount": 1}, nil)
			}
			// A busy page takes the click later; a second one would undo it.
			for range 60 {
				var hit bool
				if err := p.Eval("window.hit !== false", &hit); err != nil || hit { // a page that left was hit too
					return
				}
				time.Sleep(50 * time.Millisecond)
			}
		}
		if time.Now().After(end) {
			p.t.Fatalf("%s cannot be clicked within %v (%v); the page:\n%s", selector, patience, err, p.text())
		}
	}
}

// Fill types a text into a field, in place of what it holds.
func (p *Page) Fill(selector, text string) {
	p.t.Helper()
	p.Click(selector)
	must(p.t, p.Eval("document.querySelector("+Quoted(selector)+").select()", nil))
	p.must("Input.insertText", map[string]any{"text": text}, nil)
}

// Press presses a key by its name (KeyboardEvent.key), such as Tab or Enter.
func (p *Page) Press(key string) {
	p.t.Helper()
	codes := map[string]int{"Tab": 9, "Enter": 13, "Escape": 27, " ": 32}
	for _, kind := range []string{"keyDown", "keyUp"} {
		m := map[string]any{"type": kind, "key": key, "code": key, "windowsVirtualKeyCode": codes[key]}
		if key == "Enter" && kind == "keyDown" {
			m["text"] = "\r"
		}
		p.must("Input.dispatchKeyEvent", m, nil)
	}
}

// Screenshot writes a picture of what is in sight, as PNG.
func (p *Page) Screenshot(file string) {
	p.t.Helper()
	var x struct{ Data string }
	p.must("Page.captureScreenshot", map[string]any{"format": "png"}, &x)
	picture, err := base64.StdEncoding.DecodeString(x.Data)
	must(p.t, err)
	must(p.t, os.WriteFile(file, picture, 0o644))
}
