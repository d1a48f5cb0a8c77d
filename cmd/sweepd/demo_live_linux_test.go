package main

import (
	"context"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

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
	must(t, "demo", "set", "20W")
	must(t, "demo", "unplug")
	eventually(t, "the agent sees the setting and the supply", func() bool {
		o := sweepd(t, "setting")
		return strings.Contains(o.out, "20W") && strings.Contains(must(t, "sensors"), "battery_power_watts")
	})
	must(t, "run", "start", "--workload", "harbour-flight")
	out1 := must(t, "demo", "play", "harbour-flight", "--for", "1")
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
		"demo play tile-sort --for 0": "1 to 3600",
		"demo --listen 127.0.0.1:1":   "--listen is for --live",
	} {
		if o := sweepd(t, strings.Fields(args)...); o.code == exitOK || !strings.Contains(o.stderr, want) {
			t.Errorf("%s: %+v", args, o)
		}
	}
}
