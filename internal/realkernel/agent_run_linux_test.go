package realkernel_test

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"sweepd/internal/realkernel"
)

// agentScript starts the agent and gives the functions that the tests' scripts
// are made of. All times are the rig's clock in ms. A sensor on the kernel's stub
// bus shows 61.5 °C at first; 0x0019 sets it to 25 °C.
const agentScript = `
set -e
export SWEEPD_DATA=/tmp/data
clock() { cat $RIG_CLOCK; }
until_clock() { # TIME
	while left=$(($1 - $(clock))) && [ $left -gt 0 ]; do usleep $((left * 1000)); done
}
start() { # NAME TIME SETTING: waits, then starts a run whose workload is tile-sort
	until_clock $2
	before=$(clock)
	sweepd run start --workload tile-sort --setting $3 --note "$1"
	echo "started $1 $before $(clock)"
}
stop() { # NAME TIME SCORE
	until_clock $2
	before=$(clock)
	sweepd run stop --result score=$3
	echo "stopped $1 $before $(clock)"
}
set_sensor() { i2cset -f -y 0 0x48 0 $1 w; }
modprobe i2c-dev; modprobe i2c-stub chip_addr=0x48; modprobe lm75
set_sensor 0x803d
echo lm75 0x48 >/sys/bus/i2c/devices/i2c-0/new_device
sweepd agent --data $SWEEPD_DATA --listen 127.0.0.1:9745 >/out/agent.log 2>&1 &
agent=$!
trap 'kill $agent; wait $agent || true' EXIT
tries=0
until nc 127.0.0.1 9745 </dev/null >/dev/null 2>&1; do tries=$((tries + 1)); [ $tries -lt 200 ]; usleep 50000; done
sweepd sensors --json >/out/sensors.json
`

// collectScript leaves what the commands say of the runs in /out.
const collectScript = `
sweepd run list --json >/out/list.json
for id in $(grep -o '"id": *"[^"]*"' /out/list.json | cut -d'"' -f4); do
	sweepd run show $id --json >/out/run-$id.json
done
`

// agentRun is what the test reads of "sweepd run show --json".
type agentRun struct {
	State, Supply, Note string
	Setting             struct {
		Watts  *float64
		Source string
	}
	DurationS float64 `json:"duration_s"`
	Findings  []struct{ Code, Severity, Text string }
	Summaries []agentSummary
	Discharge struct {
		Watts            *float64
		UncertaintyWatts *float64 `json:"uncertainty_watts"`
		FromPowerWatts   *float64 `json:"from_power_watts"`
	}

	// By the rig's clock: when the commands that started the run, set the
	// sensor in it and stopped it were given, and when they had ended.
	start, set, stop [2]time.Duration
}

type agentSummary struct {
	Sensor, Instance  string
	Mean, First, Last *float64
	EnergyJoules      *float64 `json:"energy_joules"`
}

// namedRuns are runs by their note, which is the name that the script gave them.
type namedRuns map[string]*agentRun

func (runs namedRuns) get(t *testing.T, name string) *agentRun {
	t.Helper()
	if runs[name] == nil {
		t.Fatalf("the agent has no run %s", name)
	}
	return runs[name]
}

// agentRuns boots the rig with the agent and runs agentScript, the script and
// collectScript.
func agentRuns(t *testing.T, o realkernel.Options, script string) (namedRuns, realkernel.Result) {
	t.Helper()
	o.Script = agentScript + script + collectScript
	got := realkernel.Boot(t, o)
	if got.ExitCode != 0 {
		log, _ := os.ReadFile(filepath.Join(got.OutDir, "agent.log"))
		t.Fatalf("script: exit code %d:\n%s\nlog of the agent:\n%s", got.ExitCode, got.Stdout, log)
	}
	t.Cleanup(func() {
		if t.Failed() {
			t.Log("the script printed:\n" + got.Stdout)
		}
	})
	runs := namedRuns{}
	files, err := filepath.Glob(filepath.Join(got.OutDir, "run-*.json"))
	if err != nil {
		t.Fatal(err)
	}
	for _, file := range files {
		r := readJSON[*agentRun](t, file)
		runs[r.Note] = r
	}
	for line := range strings.Lines(got.Stdout) {
		var what, name string
		var before, after time.Duration
		if n, _ := fmt.Sscan(line, &what, &name, &before, &after); n < 4 || runs[name] == nil {
			continue
		}
		edge := [2]time.Duration{before * time.Millisecond, after * time.Millisecond}
		switch what {
		case "started":
			runs[name].start = edge
		case "set":
			runs[name].set = edge
		case "stopped":
			runs[name].stop = edge
		}
	}
	return runs, got
}

func readJSON[T any](t *testing.T, file string) T {
	t.Helper()
	var v T
	text, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(text, &v); err != nil {
		t.Fatalf("%s: %v in %s", filepath.Base(file), err, text)
	}
	return v
}

func (r *agentRun) has(code string) bool {
	return slices.ContainsFunc(r.Findings, func(f struct{ Code, Severity, Text string }) bool { return f.Code == code })
}

// summary finds the summary of a sensor; its instance may be given by its start.
func (r *agentRun) summary(t *testing.T, sensor, instance string) agentSummary {
	t.Helper()
	for _, s := range r.Summaries {
		if s.Sensor == sensor && strings.HasPrefix(s.Instance, instance) {
			return s
		}
	}
	t.Fatalf("run %s has no summary of %s %s: %+v", r.Note, sensor, instance, r.Summaries)
	return agentSummary{}
}

// number is NaN for what JSON calls null.
func number(p *float64) float64 {
	if p == nil {
		return math.NaN()
	}
	return *p
}

// near fails unless got lies within slack of want; NaN never does.
func near(t *testing.T, what string, got, want, slack float64) {
	t.Helper()
	if !(math.Abs(got-want) <= slack) {
		t.Errorf("%s: %.6g, want %.6g ± %.2g", what, got, want, slack)
	}
}
