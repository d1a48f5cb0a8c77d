package browser_test

import (
	"bytes"
	"os"
	"os/exec"
	"strings"
	"testing"
	"time"

	"sweepd/internal/browser"
)

// TestHandsOffDayOnADevice has a plan run by itself on the live simulated device, with a
// runner as a user has one, all asked for from a phone: stopped at once, begun again,
// paused, and ended with a hand at the plug. Nothing stays set.
func TestHandsOffDayOnADevice(t *testing.T) {
	if testing.Short() {
		t.Skip("it takes a minute")
	}
	t.Parallel()
	l := startLive(t)
	l.command("plan", "new", "--workload", "harbour-flight", "--settings", "10", "--repeats", "1", "--seed", "3")
	startRunner(t, l)
	p := browser.Start(t).NewPage()
	p.Size(360, 740, true)
	l.pair(p, l.url())
	view(t, p, "day")
	shows := func(selector, text string) {
		t.Helper()
		p.Await("document.querySelector('" + selector + "').checkVisibility() && document.querySelector('" + selector + "').innerText.includes(" + browser.Quoted(text) + ")")
	}
	over := func(why string) {
		t.Helper()
		shows("#hands-text", "The day is over")
		shows("#hands-why", why)
		shows("#hands-same", "Everything is set as it was found.")
		p.Await("document.querySelector('#hands-now').hidden")
	}
	found := l.command("actuators")

	p.Await("!document.querySelector('#hands-begin').hidden")
	p.Click("#hands-begin")
	shows("#sheet .writes", "10 W: firmware 15 → 10")
	shows("#sheet", "By hand: unplug (1 time)")
	p.Click("#sheet label: I have read this")
	p.Click("#sheet button: Begin")
	shows("#hands-left", "0 of 2 done")
	shows("#hands-changed summary", "things are set otherwise than found")
	p.Await("document.querySelector('#hands-text').innerText.startsWith('Run ')") // a run is on
	if now := l.command("actuators"); now == found {
		t.Errorf("in a run at 10 W the device is set as before:\n%s", now)
	}
	p.Click("#hands-now: Stop now")
	time.Sleep(450 * time.Millisecond) // less is a double tap
	p.Click("#hands-now: Tap again")
	over("stopped at once by the page")

	// It is agreed to already. A run is waited for, then a hand.
	p.Click("#hands-begin")
	shows("#sheet", "by the page on phone 1")
	p.Click("#sheet button: Begin")
	p.Await("document.querySelector('#hands-text').innerText.startsWith('Run ')")
	p.Click("#hands-pause: Pause after this run")
	shows("#hands-resume", "Do not pause")
	shows("#hands-resume", "Resume")
	shows("#hands-same", "Everything is set as it was found.")
	p.Click("#hands-resume")
	shows("#hand", "nplug")
	shows("#what", "By hand: unplug")
	l.command("demo", "unplug")
	p.Await("!document.querySelector('#hand').innerText")
	p.AwaitWithin("document.querySelector('#hands-left').innerText.startsWith('2 of 2 done')", 2*time.Minute)
	over("the plan is done")
	lookAt(t, p, "hands-done")
	if now := l.command("actuators"); now != found {
		t.Errorf("what was found:\n%s\nwhat the day left:\n%s", found, now)
	}
	var runs []struct {
		State, Why, Supply string
		Results            map[string]struct{ Value float64 }
	}
	unmarshal(t, l.command("run", "list", "--json"), &runs)
	good, stopped := "", 0
	for _, r := range runs {
		switch {
		case r.State == "finished" && r.Results["fps_mean"].Value > 0:
			good += r.Supply + " "
		case r.State == "rejected" && strings.Contains(r.Why, "stopped at once"):
			stopped++
		}
	}
	if len(runs) != 3 || !strings.Contains(good, "mains") || !strings.Contains(good, "battery") || stopped != 1 {
		t.Errorf("its runs: %+v", runs)
	}
	if list := p.Complaints(); len(list) > 0 {
		t.Errorf("the page complains: %v", list)
	}
}

// startRunner starts what carries out the workloads of an agent.
func startRunner(t *testing.T, l *live) {
	t.Helper()
	var said bytes.Buffer
	cmd := exec.Command(program, "plan", "runner", "--as-root")
	cmd.Env = append(os.Environ(), "SWEEPD_AGENT="+l.url())
	cmd.Stdout, cmd.Stderr = &said, &said
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		_ = cmd.Process.Signal(os.Interrupt)
		_ = cmd.Wait()
		if t.Failed() {
			t.Logf("the runner said:\n%s", said.String())
		}
	})
}
