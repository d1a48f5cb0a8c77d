package main

import (
	"context"
	"errors"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"sweepd/actuators"
	"sweepd/run"
)

// A newcomer's walk without hardware: the setting is followed, a workload gives its
// result to a run, and the supply changes hands.
func TestDemoLive(t *testing.T) {
	alone(t)
	for _, name := range []string{"HOST_SYS", "HOST_PROC", "HOST_ETC"} {
		t.Setenv(name, "") // the demonstration sets them
	}
	dir := filepath.Join(t.TempDir(), strings.Repeat("long-", 30), "live") // longer than the path of a socket may be
	if err := os.MkdirAll(filepath.Dir(dir), 0o755); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	var out, log lockedBuffer
	ended := make(chan int, 1)
	go func() {
		ended <- Run(ctx, []string{"demo", "--live", "--out", dir, "--listen", "127.0.0.1:0", "--device", "unit-elm"}, strings.NewReader(""), &out, &log)
	}()
	defer func() {
		cancel()
		if code := <-ended; code != exitOK {
			t.Errorf("it ended with %d: %s", code, log.String())
		}
		if files, err := filepath.Glob(filepath.Join(dir, "*.sock")); err != nil || len(files) > 0 {
			t.Errorf("it leaves %q (%v)", files, err)
		}
		if o := sweepd(t, "demo", "plug"); o.code != exitFailed || !strings.Contains(o.stderr, "start one with `sweepd demo --live`") {
			t.Errorf("after its end: %+v", o)
		}
	}()
	var agent []string
	eventually(t, "the walk is printed and the agent watches", func() bool {
		agent = regexp.MustCompile(`export SWEEPD_AGENT=(\S+)`).FindStringSubmatch(out.String())
		return agent != nil && strings.Contains(log.String(), `"watching","device":"unit-elm"`)
	})
	t.Setenv("SWEEPD_DATA", dir)
	t.Setenv("SWEEPD_AGENT", agent[1])
	_, port, _ := net.SplitHostPort(strings.TrimPrefix(agent[1], "http://"))
	for _, want := range []string{"plan run --dry-run\n", "demo heat\n", "The page for a phone is at " + agent[1] + "/", "--listen 0.0.0.0:" + port, " console pair\n"} {
		if !strings.Contains(out.String(), want) {
			t.Errorf("it does not say %q: %s", want, out.String())
		}
	}
	if page, err := http.Get(agent[1]); err != nil || page.StatusCode != http.StatusOK || !strings.HasPrefix(page.Header.Get("Content-Type"), "text/html") {
		t.Errorf("the page is %+v (%v)", page, err)
	}
	if said := must(t, "demo", "set", "20W"); said != "the limit of unit-elm is 20 W\n" {
		t.Errorf("set says %q", said)
	}
	if said := must(t, "demo", "heat", "--to", "90C"); !regexp.MustCompile(`^the processor of unit-elm is at (8[5-9]|90) °C\n$`).MatchString(said) {
		t.Errorf("heat says %q", said)
	}
	for range 2 { // twice is once
		if said := must(t, "demo", "unplug"); !strings.HasPrefix(said, "unit-elm is on battery, its battery at ") {
			t.Errorf("unplug says %q", said)
		}
	}
	eventually(t, "the agent sees the setting and the supply", func() bool {
		o := sweepd(t, "setting")
		return strings.Contains(o.out, "20W") && strings.Contains(must(t, "sensors"), "battery_power_watts")
	})
	must(t, "run", "start", "--workload", "harbour-flight")
	out1 := must(t, "demo", "play", "harbour-flight", "--for", "1s")
	m := regexp.MustCompile(`^fps_mean: ([0-9.]+) fps\n$`).FindStringSubmatch(out1)
	if m == nil {
		t.Fatalf("the workload says %q", out1)
	}
	must(t, "run", "stop", "--result", "fps_mean="+m[1])
	runs := asked[[]run.Run](t, "run list")
	if len(runs) != 1 || runs[0].Device != "unit-elm" || runs[0].Setting.String() != "20W" || !(runs[0].Results["fps_mean"].Value > 60) {
		t.Errorf("%+v", runs)
	}
	for args, want := range map[string]string{
		"demo set bogus":              "no profile \"bogus\"",
		"demo set 3kW":                "neither watts nor a name",
		"demo play chess":             "it has harbour-flight and tile-sort",
		"demo set 500W":               "the firmware of unit-elm takes 3 W to 54 W",
		"demo play tile-sort --for 0": "want a time from 1s to 1h",
		"demo heat --to 900":          "want a temperature from 40 to 120",
		"demo heat 90":                "one word too many",
		"demo plya tile-sort":         "did you mean play?",
		"demo --live --out " + dir + " --listen " + strings.TrimPrefix(agent[1], "http://"): "another program, answers at",
		"demo --live --out " + dir + " --listen 127.0.0.1:0":                                "a simulated device lives in " + dir + " already",
		"demo --live --out " + t.TempDir() + "/.. --listen 127.0.0.1:0":                     "not empty: name another",
		"demo --listen 127.0.0.1:1":                                                         "--listen is for --live",
	} {
		if o := sweepd(t, strings.Fields(args)...); o.code == exitOK || !strings.Contains(o.stderr, want) {
			t.Errorf("%s: %+v", args, o)
		}
	}
}

// What a newcomer is told to type is what works where the agent answers.
func TestWhereTheDemoAnswers(t *testing.T) {
	for address, want := range map[string][]string{
		"127.0.0.1:9745":   {"http://127.0.0.1:9745/, ", "start this with --listen 0.0.0.0:9745 and pair it"},
		"[::]:9746":        {"SWEEPD_AGENT=http://localhost:9746\n", "http://localhost:9746/metrics", "http://localhost:9746/, ", "to open it on one,\npair it with\n"},
		"192.0.2.7:9745":   {"SWEEPD_AGENT=http://192.0.2.7:9745\n", "http://192.0.2.7:9745/, ", "to open it on one,\npair it with\n"},
		"[2001:db8::1]:80": {"http://[2001:db8::1]:80/, "},
	} {
		var out strings.Builder
		(&app{out: &out}).sayLive("unit-oak", "/data", address)
		for _, w := range want {
			if !strings.Contains(out.String(), w) {
				t.Errorf("%s: it does not say %q: %s", address, w, out.String())
			}
		}
	}
}

// A day goes on in the folder of an earlier one, also of one that was killed and left its
// socket and the first values of its device, which is gone; its prometheus.yml names where the agent answers now.
func TestDemoLiveGoesOn(t *testing.T) {
	alone(t)
	for _, name := range []string{"HOST_SYS", "HOST_PROC", "HOST_ETC"} {
		t.Setenv(name, "")
	}
	dir := filepath.Join(t.TempDir(), "live")
	t.Setenv("SWEEPD_DATA", dir)
	for day := range 2 {
		ctx, cancel := context.WithCancel(context.Background())
		var out, log lockedBuffer
		ended := make(chan int, 1)
		go func() {
			ended <- Run(ctx, []string{"demo", "--live", "--out", dir, "--listen", "127.0.0.1:0"}, strings.NewReader(""), &out, &log)
		}()
		var agent []string
		eventually(t, "the agent watches", func() bool {
			agent = regexp.MustCompile(`export SWEEPD_AGENT=http://(\S+)`).FindStringSubmatch(out.String())
			return agent != nil && strings.Contains(log.String(), `"watching"`)
		})
		scrape, err := os.ReadFile(filepath.Join(dir, "prometheus.yml"))
		if err != nil || !strings.Contains(string(scrape), "- "+agent[1]+"\n") {
			t.Errorf("on day %d Prometheus is to ask %q (%v), the agent answers at %s", day, scrape, err, agent[1])
		}
		t.Setenv("SWEEPD_AGENT", "http://"+agent[1])
		must(t, "run", "start", "--workload", "tile-sort")
		must(t, "run", "stop", "--result", "seconds=12s", "--lower", "seconds")
		cancel()
		if code := <-ended; code != exitOK {
			t.Errorf("day %d ended with %d: %s", day, code, log.String())
		}
		if strings.Contains(log.String(), "put back") {
			t.Errorf("day %d is about what another one set: %s", day, log.String())
		}
		first, err := actuators.OpenFirstValues(dir, actuators.FirstValuesOptions{Root: t.TempDir()}) // as one that was killed
		if err != nil {
			t.Fatal(err)
		}
		gone := actuators.Write{Actuator: "firmware", Path: filepath.Join(t.TempDir(), "current_value"), Text: "20", Was: "15"}
		if err := errors.Join(first.Keep(t.Context(), gone), first.Close()); err != nil {
			t.Fatal(err)
		}
		if l, err := net.Listen("unix", filepath.Join(dir, "device.sock")); err == nil {
			l.(*net.UnixListener).SetUnlinkOnClose(false)
			l.Close()
		}
	}
	if runs := asked[[]run.Run](t, "run list"); len(runs) != 2 {
		t.Errorf("of two days there are %d runs", len(runs))
	}
}
