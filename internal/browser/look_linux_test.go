package browser_test

import (
	"os"
	"path/filepath"
	"testing"
	"time"

	"sweepd/internal/browser"
)

// TestLook writes pictures of each view in both sizes and themes for somebody to look at:
// SWEEPD_LOOK=DIR go test -run Look ./internal/browser
func TestLook(t *testing.T) {
	dir := os.Getenv("SWEEPD_LOOK")
	if dir == "" {
		t.Skip("SWEEPD_LOOK says where pictures go")
	}
	l := startLive(t)
	l.command("plan", "new", "--workload", "harbour-flight", "--workload", "tile-sort", "--settings", "10,15,20,25", "--repeats", "2", "--seed", "3")
	for _, s := range []string{"10W", "20W"} {
		l.command("demo", "set", s)
		l.command("run", "start", "--workload", "harbour-flight", "--setting", s, "--new")
		l.command("demo", "play", "harbour-flight", "--for", "5s")
		l.command("run", "stop", "--result", "fps_mean=61.3fps", "--new")
	}
	l.command("demo", "unplug")
	p := browser.Start(t).NewPage()
	shoot := func(name string) {
		for _, dark := range []bool{false, true} {
			p.Dark(dark)
			theme := map[bool]string{false: "light", true: "dark"}[dark]
			p.Size(360, 740, true)
			time.Sleep(300 * time.Millisecond)
			p.Screenshot(filepath.Join(dir, name+"-phone-"+theme+".png"))
			p.Size(1280, 900, false)
			time.Sleep(300 * time.Millisecond)
			p.Screenshot(filepath.Join(dir, name+"-desktop-"+theme+".png"))
		}
	}
	p.Size(360, 740, true)
	p.Open(l.url() + "/#now")
	p.Await(`document.querySelector('#steps button') && document.querySelector('#values dd').innerText !== ''`)
	time.Sleep(3 * time.Second)
	shoot("now")
	p.Open(l.url() + "/#run")
	p.Await(`document.querySelector('#next strong')`)
	shoot("run")
	p.Size(360, 740, true)
	p.Click("#start")
	p.Await(`!document.querySelector('#running').hidden`)
	time.Sleep(2 * time.Second)
	shoot("recording")
	p.Size(360, 740, true)
	p.Click("#stop")
	p.Await(`document.querySelector('#after form')`)
	shoot("after")
	p.Open(l.url() + "/#day")
	time.Sleep(time.Second)
	shoot("day")
	p.Size(360, 740, true)
	p.Click("#runs button")
	p.Await(`document.querySelector('#sheet').open`)
	shoot("sheet")
	p.Press("Escape")
	p.Open(l.url() + "/#compare")
	p.AwaitWithin(`document.querySelector('#report img, #report .panel')`, time.Minute)
	time.Sleep(time.Second)
	shoot("compare")
	for i, c := range p.Complaints() {
		if i < 5 {
			t.Logf("%.300s", c)
		}
	}
}
