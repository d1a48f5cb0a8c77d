package exporter

import (
	"bytes"
	"flag"
	"io"
	"math"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/prometheus/client_golang/prometheus/testutil"

	"sweepd/agent"
	"sweepd/analysis"
	"sweepd/collectors"
	"sweepd/run"
)

var update = flag.Bool("update", false, "rewrite the golden files")

// still is a source that shows the same snapshot until the test changes it.
type still struct {
	agent.Events
	shown agent.Snapshot
}

// publish says what happened to a run.
func (s *still) publish(kind run.EventKind, r run.Run) {
	_ = s.Publish(func() (run.Event, error) { return run.Event{Kind: kind, Run: r}, nil })
}

func (s *still) Snapshot(dst *agent.Snapshot) { *dst = s.shown }

func watts(w float64) run.SourcedSetting { return run.Watts(w).From(run.Declared) }

// recordingSnapshot is a run on battery, in the middle.
func recordingSnapshot() agent.Snapshot {
	labels := run.Labels{Device: "unit-oak", Workload: `harbour "flight"`, Setting: watts(12.5), Supply: run.Battery, Variant: "cores=6,smt=off"}
	idle := run.Labels{Device: "unit-oak", Setting: watts(12.5), Supply: run.Battery}
	return agent.Snapshot{
		Live: run.Live{
			Now: run.Instant{Mono: time.Hour}, At: run.Instant{Mono: time.Hour}, Sweeps: 400,
			Current: labels, Recording: &run.Run{ID: "0197a3c2-0000-7000-8000-0000deadbeef", Labels: labels},
			Sensors: []run.Sensor{
				{ID: run.Temperature, Instance: "package", Unit: "celsius"},
				{ID: run.Temperature, Instance: "disk/Composite", Unit: "celsius"},
				{ID: run.BatteryPower, Instance: "BAT0", Unit: "watts"},
			},
			Values:         []float64{71.5, math.NaN(), 21.4},
			DischargeWatts: 21.4, ChargeRatio: 0.83,
		},
		SweepSeconds: 0.06,
		Power:        [4]float64{12.25, 7.5, math.NaN(), 21.4},
		Energies: []agent.LabelledEnergy{
			{Labels: labels, Joules: [4]float64{735, 450, 0, 1284}, Known: [4]bool{true, true, false, true}, Current: true},
			{Labels: idle, Joules: [4]float64{90.5, 20, 0, 300}, Known: [4]bool{true, true, false, true}},
		},
	}
}

func newStill(s agent.Snapshot) (*still, *Metrics) {
	source := &still{shown: s}
	health := func() []collectors.Health {
		return []collectors.Health{{Name: "hwmon", Up: false, Errors: 3}, {Name: "power_supply", Up: true}}
	}
	return source, New(source, health, Build{Version: "1.0.0", Revision: "abc", GoVersion: "go1.26"})
}

// exposition is what a scrape gets, without the agent's own footprint, which is
// of this moment.
func exposition(t *testing.T, m *Metrics) string {
	t.Helper()
	w := httptest.NewRecorder()
	m.Handler().ServeHTTP(w, httptest.NewRequest("GET", "/metrics", nil))
	body, err := io.ReadAll(w.Result().Body)
	if err != nil || w.Code != 200 {
		t.Fatalf("scrape: status %d, error %v:\n%s", w.Code, err, body)
	}
	own := regexp.MustCompile(`(?m)^(sweepd_agent_\S+) \S+$`)
	return own.ReplaceAllString(string(body), "$1 0")
}

func golden(t *testing.T, name, got string) {
	t.Helper()
	path := filepath.Join("testdata", name)
	if *update {
		if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(string(want), got); diff != "" {
		t.Errorf("%s (-want +got; rewrite with -update after a look):\n%s", path, diff)
	}
}

func TestExposition(t *testing.T) {
	source, m := newStill(recordingSnapshot())
	m.showEffects("", "", []Effect{
		{Device: "unit-oak", Workload: "harbour-flight", Setting: "12.5W", Result: "fps_mean", Ratio: 0.97, Lower: 0.96, Upper: 0.98},
		{Device: "unit-oak", Workload: "harbour-flight", Setting: "20W", Result: "fps_mean", Ratio: 0.95, Lower: analysis.Unknown(), Upper: analysis.Unknown()},
	})
	golden(t, "recording.prom", exposition(t, m))

	// The run ends: its gauges vanish, its counters and findings stay.
	ended := *source.shown.Recording
	ended.Findings = []run.Finding{{Code: run.TooShort, Severity: run.SeverityDoubt}, {Code: run.Charging, Severity: run.SeverityNote}}
	source.shown.Recording = nil
	source.shown.Current = source.shown.Energies[1].Labels
	source.publish(run.RunEnded, ended)
	golden(t, "ended.prom", exposition(t, m))

	// Five minutes later the agent shows the idle labels alone.
	source.shown.Now.Mono += 5*time.Minute + time.Second
	source.shown.Energies = source.shown.Energies[1:]
	golden(t, "later.prom", exposition(t, m))
}

func TestBeforeTheFirstSweepNothingIsClaimed(t *testing.T) {
	_, m := newStill(agent.Snapshot{Live: run.Live{DischargeWatts: math.NaN(), ChargeRatio: math.NaN()}})
	if text := exposition(t, m); strings.Contains(text, "sweepd_battery") || strings.Contains(text, "sweepd_supply_online") {
		t.Errorf("readings before there was a sweep:\n%s", text)
	}
}

// The naming rules of Prometheus, by its own client library's linter.
func TestLint(t *testing.T) {
	_, m := newStill(recordingSnapshot())
	problems, err := testutil.GatherAndLint(m.Gatherer())
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range problems {
		t.Errorf("%s: %s", p.Metric, p.Text)
	}
}

// And by promtool, the tool that comes with Prometheus.
func TestPromtoolIsSilent(t *testing.T) {
	promtool := program(t, "promtool")
	_, m := newStill(recordingSnapshot())
	cmd := exec.Command(promtool, "check", "metrics")
	cmd.Stdin = strings.NewReader(exposition(t, m))
	var out bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &out
	if err := cmd.Run(); err != nil || out.Len() > 0 {
		t.Errorf("promtool check metrics: %v\n%s", err, &out)
	}
}
