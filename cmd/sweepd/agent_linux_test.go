package main

import (
	"bytes"
	"context"
	"encoding/json"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"

	"sweepd/console"
	"sweepd/internal/simdevice"
	"sweepd/run"
	"sweepd/testday"
)

// deadline is for conditions that hold within milliseconds unless something is
// wrong.
const deadline = 20 * time.Second

// eventually waits for a condition.
func eventually(t *testing.T, what string, holds func() bool) {
	t.Helper()
	for end := time.Now().Add(deadline); !holds(); time.Sleep(5 * time.Millisecond) {
		if time.Now().After(end) {
			t.Fatalf("%s: not within %v", what, deadline)
		}
	}
}

// lockedBuffer may be written and read by several goroutines.
type lockedBuffer struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (l *lockedBuffer) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.Write(p)
}

func (l *lockedBuffer) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.String()
}

// liveDevice is a simulated handheld that lives along with the real clock and
// that the collectors of this process read.
func liveDevice(t *testing.T) *simdevice.Device {
	t.Helper()
	return liveDeviceOf(t, simdevice.UnitOak(), 0)
}

// liveDeviceOf is a device whose clock is ahead of the machine's.
func liveDeviceOf(t *testing.T, cfg simdevice.Config, ahead time.Duration) *simdevice.Device {
	t.Helper()
	now := func() time.Time { return time.Now().Add(ahead) }
	d, err := simdevice.New(t.TempDir(), cfg, now())
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- d.AdvanceWithClock(ctx, 20*time.Millisecond, now) }()
	t.Cleanup(func() {
		cancel()
		if err := <-ended; err != nil {
			t.Error(err)
		}
		d.Close()
	})
	for _, pair := range d.Environ() {
		name, value, _ := strings.Cut(pair, "=")
		t.Setenv(name, value)
	}
	return d
}

// liveAgent is `sweepd agent` in this process.
type liveAgent struct {
	url  string
	log  *lockedBuffer
	stop func() int // ends it as a signal does, and returns the exit code
}

func startAgent(t *testing.T, args ...string) *liveAgent {
	t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	a := &liveAgent{log: &lockedBuffer{}}
	code, ended := exitOK, make(chan struct{})
	go func() {
		defer close(ended)
		code = Run(ctx, append([]string{"agent", "--listen", "127.0.0.1:0"}, args...), strings.NewReader(""), io.Discard, a.log)
	}()
	a.stop = func() int { cancel(); <-ended; return code }
	t.Cleanup(func() { a.stop() })
	address := regexp.MustCompile(`"address":"([^"]+)"`)
	eventually(t, "the agent says where it listens", func() bool {
		m := address.FindStringSubmatch(a.log.String())
		if m == nil {
			select {
			case <-ended:
				t.Fatalf("the agent ended with %d: %s", code, a.log)
			default:
			}
			return false
		}
		a.url = "http://" + m[1]
		return true
	})
	t.Setenv("SWEEPD_AGENT", a.url)
	client, err := console.NewClient(a.url)
	if err != nil {
		t.Fatal(err)
	}
	eventually(t, "the agent has swept", func() bool { // it answers before, and knows nothing of the device then
		s, err := client.Status(t.Context())
		return err == nil && s.Sweeps > 0
	})
	return a
}

func TestRunFromStartToStop(t *testing.T) {
	alone(t)
	d := liveDevice(t)
	d.Unplug()
	d.StartWorkload(simdevice.Workload{Name: "harbour-flight"})
	a := startAgent(t)
	out := must(t, "run", "start", "--workload", "harbour-flight", "--setting", "25W", "--variant", "cores=6", "--note", "first")
	if !regexp.MustCompile(`^run [0-9a-f]{8} started: harbour-flight, setting 25W \(declared\), on battery\n$`).MatchString(out) {
		t.Errorf("start says %q", out)
	}
	if o := sweepd(t, "run", "start", "--workload", "tile-sort"); o.code != exitFailed || !strings.Contains(o.stderr, "harbour-flight") {
		t.Errorf("a second start: exit %d, %s", o.code, o.stderr)
	}
	if o := sweepd(t, "run", "stop", "--result", "fps_mean=fast"); o.code != exitFailed || !strings.Contains(o.stderr, " ended at ") {
		t.Errorf("a bad result: exit %d, %s", o.code, o.stderr)
	}
	var d1 run.Record
	if err := json.Unmarshal([]byte(must(t, "run", "show", "last", "--json")), &d1); err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal([]byte(must(t, "run", "stop", d1.ID, "--json", "--result", "fps_mean=61.3fps", "--result", "load=4.2s", "--lower", "load")), &d1); err != nil {
		t.Fatal(err)
	}
	if d1.Supply != run.Battery || d1.Setting.String() != "25W" || d1.State != run.Finished || d1.Note != "first" || d1.Variant != "cores=6" {
		t.Errorf("kept: %+v", d1.Run)
	}
	if d1.Results["fps_mean"] != (run.Result{Value: 61.3, Unit: "fps", Better: run.Higher}) || d1.Results["load"].Better != run.Lower {
		t.Errorf("results: %+v", d1.Results)
	}
	if o := sweepd(t, "run", "stop"); o.code != exitFailed || !strings.Contains(o.stderr, "no run is recording") {
		t.Errorf("a second stop: exit %d, %s", o.code, o.stderr)
	}
	if code := a.stop(); code != exitOK {
		t.Errorf("the agent ended with %d: %s", code, a.log)
	}
	// What was kept can be read and corrected without the agent.
	out = must(t, "run", "show", "--all", d1.ID[len(d1.ID)-8:])
	for _, want := range []string{d1.ID, "fps_mean 61.3 fps", "load 4.2 s", "battery_power_watts", "too_short", "sweepd version"} {
		if !strings.Contains(out, want) {
			t.Errorf("run show lacks %q:\n%s", want, out)
		}
	}
	must(t, "run", "result", "last", "fps_mean=62fps")
	must(t, "run", "reject", "last", "--why", "an update ran")
	if out := must(t, "run", "list"); !strings.Contains(out, "rejected") || !strings.Contains(out, "62 fps") {
		t.Errorf("run list:\n%s", out)
	}
	must(t, "run", "keep", "last", "--why", "it did not")
	if o := sweepd(t, "run", "keep", "last", "--why", "again"); o.code != exitFailed || !strings.Contains(o.stderr, "not rejected") {
		t.Errorf("keep twice: exit %d, %s", o.code, o.stderr)
	}
	if o := sweepd(t, "run", "show", "ffffffff"); o.code != exitFailed || !strings.Contains(o.stderr, "no such run") {
		t.Errorf("unknown run: exit %d, %s", o.code, o.stderr)
	}
}

func TestStartWarnsOfAContradiction(t *testing.T) {
	alone(t)
	d := liveDevice(t)
	d.SetLimit(15)
	startAgent(t)
	o := sweepd(t, "run", "start", "--workload", "tile-sort", "--setting", "30W")
	if o.code != exitOK || !strings.Contains(strings.Join(strings.Fields(o.stderr), " "), "started all the same: 30W was declared, but the system reports 15W (firmware), finding setting_disagrees; set the device or the declaration right") {
		t.Errorf("exit %d, %q", o.code, o.stderr)
	}
	must(t, "run", "stop")
	if out := must(t, "setting"); !strings.Contains(out, "30W (declared just now by sweepd run start); the system reports 15W") {
		t.Errorf("setting: %q", out)
	}
	if out := must(t, "setting", "--clear"); !strings.HasPrefix(out, "15W (") {
		t.Errorf("setting --clear: %q", out)
	}
	if out := must(t, "setting", "quiet"); !strings.HasPrefix(out, "quiet (declared just now by sweepd setting)") {
		t.Errorf("setting quiet: %q", out)
	}
	if out := must(t, "setting", "12.5W", "--json"); !strings.Contains(out, `"watts": 12.5`) {
		t.Errorf("setting --json: %q", out)
	}
}

func TestRunWatch(t *testing.T) {
	alone(t)
	liveDevice(t)
	startAgent(t)
	out := must(t, "run", "watch", "--workload", "tile-sort", "--setting", "20W",
		"--result-from", `score=score: (\S+)`, "--result-from", `load=load (.*)$`, "--lower", "load",
		"--", "sh", "-c", `echo warm-up score: 3; printf 'score: 12.5pts\nload 4.2 s'`)
	for _, want := range []string{"warm-up score: 3\n", "score 12.5 pts", "load 4.2 s", "finished"} {
		if !strings.Contains(out, want) {
			t.Errorf("output lacks %q:\n%s", want, out)
		}
	}
	// A command that fails, and a result that is not there: the run is kept.
	o := sweepd(t, "run", "watch", "--workload", "tile-sort", "--result-from", `score=score: (\S+)`, "--", "sh", "-c", "exit 3")
	if o.code != exitFailed || !strings.Contains(o.stderr, "exit status 3") || !strings.Contains(o.stderr, "no line of the output fits") ||
		!strings.Contains(o.out, "finished") {
		t.Errorf("exit %d\n%s\n%s", o.code, o.out, o.stderr)
	}
	var runs []run.Run
	if err := json.Unmarshal([]byte(must(t, "run", "list", "--json")), &runs); err != nil || len(runs) != 2 {
		t.Fatalf("%d runs, %v", len(runs), err)
	}
	if r := runs[0].Results; r["score"].Value != 12.5 || r["load"] != (run.Result{Value: 4.2, Unit: "s", Better: run.Lower}) {
		t.Errorf("results: %+v", r)
	}
}

func TestSecondAgentIsRefused(t *testing.T) {
	alone(t)
	liveDevice(t)
	a := startAgent(t)
	o := sweepd(t, "agent", "--listen", "127.0.0.1:0")
	if o.code != exitFailed || !strings.Contains(o.stderr, "another agent") {
		t.Errorf("same data: exit %d, %s", o.code, o.stderr)
	}
	o = sweepd(t, "agent", "--data", t.TempDir(), "--listen", strings.TrimPrefix(a.url, "http://"))
	if o.code != exitFailed || !strings.Contains(o.stderr, "the port is in use") {
		t.Errorf("same port: exit %d, %s", o.code, o.stderr)
	}
}

func TestReadOnlyDataFolder(t *testing.T) {
	if os.Geteuid() == 0 {
		t.Log("root may write anywhere: the folder lies below a file instead")
	}
	alone(t)
	file := filepath.Join(t.TempDir(), "file")
	if err := os.WriteFile(file, nil, 0o400); err != nil {
		t.Fatal(err)
	}
	o := sweepd(t, "agent", "--listen", "127.0.0.1:0", "--data", filepath.Join(file, "data"))
	if o.code != exitFailed || !strings.Contains(o.stderr, "--data") || !strings.Contains(o.stderr, file) {
		t.Errorf("exit %d, %s", o.code, o.stderr)
	}
}

func TestMetricsAnswerAndTheRestStaysHere(t *testing.T) {
	alone(t)
	liveDevice(t)
	file := filepath.Join(t.TempDir(), "sweepd.yaml")
	if err := os.WriteFile(file, []byte("hosts: [scrape.example]\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	a := startAgent(t, "--config", file)
	get := func(path, host string) (int, string) {
		q, err := http.NewRequest(http.MethodGet, a.url+path, nil)
		if err != nil {
			t.Fatal(err)
		}
		if host != "" {
			q.Host = host
		}
		resp, err := http.DefaultClient.Do(q)
		if err != nil {
			t.Fatal(err)
		}
		defer resp.Body.Close()
		text, err := io.ReadAll(resp.Body)
		if err != nil {
			t.Fatal(err)
		}
		return resp.StatusCode, string(text)
	}
	if code, text := get("/metrics", "scrape.example:9745"); code != http.StatusOK || !strings.Contains(text, "sweepd_build_info") {
		t.Errorf("metrics under a configured name: %d", code)
	}
	for _, path := range []string{"/metrics", "/api/v1/status"} {
		if code, text := get(path, "rebound.example:9745"); code != http.StatusForbidden || !strings.Contains(text, "hosts:") {
			t.Errorf("%s under another name: %d, %s", path, code, text)
		}
	}
	if code, text := get("/api/v1/status", ""); code != http.StatusOK || !strings.Contains(text, `"device":`) {
		t.Errorf("status: %d, %s", code, text)
	}
}

func TestSensors(t *testing.T) {
	alone(t)
	liveDevice(t)
	var rows []testday.SensorRow
	if err := json.Unmarshal([]byte(must(t, "sensors", "--for", "300ms", "--json")), &rows); err != nil {
		t.Fatal(err)
	}
	found := map[string]bool{}
	for _, r := range rows {
		found[r.Sensor] = found[r.Sensor] || r.Value != nil
	}
	for _, want := range []string{"battery_power_watts", "temperature_celsius", "supply_online", "package_energy_joules"} {
		if !found[want] {
			t.Errorf("no value of %s in %d rows", want, len(rows))
		}
	}
	out := must(t, "sensors", "--for", "1ms")
	if !strings.Contains(out, "battery_power_watts") {
		t.Errorf("got\n%s", out)
	}
	for _, r := range rows { // in a pipe every word stands whole
		if r.Sensor != "" && (!strings.Contains(out, r.Sensor+" ") || !strings.Contains(out, r.Instance) || !strings.Contains(out, r.Source)) {
			t.Errorf("%s %s, %s is not whole in\n%s", r.Sensor, r.Instance, r.Source, out)
		}
	}
	for _, want := range []string{" Wh)", " rpm)", "0 (offline)", "1 (discharging)", "3 (balanced)", "changes every"} {
		if !strings.Contains(out, want) {
			t.Errorf("sensors lack %q:\n%s", want, out)
		}
	}
}

// A result that is given late, by command or through the API, is no longer missing
// in the metrics; a correction of a run that ended is seen by whoever looks next.
func TestMetricsForgetAMissingResult(t *testing.T) {
	alone(t)
	liveDevice(t)
	a := startAgent(t)
	missing := func() (n int) {
		t.Helper()
		resp, err := http.Get(a.url + "/metrics")
		if err != nil {
			t.Fatal(err)
		}
		defer resp.Body.Close()
		text, err := io.ReadAll(resp.Body)
		if err != nil {
			t.Fatal(err)
		}
		return strings.Count(string(text), `code="result_missing"`)
	}
	frames := filepath.Join(t.TempDir(), "frames.csv")
	if err := os.WriteFile(frames, []byte("frame_ms\n"+strings.Repeat("10\n", 100)), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, give := range [][]string{
		{"run", "result", "last", "score=7"},
		{"run", "result", "last", "--frames", frames, "--frame-column", "frame_ms"},
	} {
		must(t, "run", "start", "--workload", "tile-sort")
		must(t, "run", "stop")
		if n := missing(); n != 1 {
			t.Errorf("%d series of result_missing after a run without a result, want 1", n)
		}
		must(t, give...)
		if n := missing(); n != 0 {
			t.Errorf("%v: %d series of result_missing are left", give, n)
		}
	}
	must(t, "run", "start", "--workload", "tile-sort")
	must(t, "run", "stop", "--frames", frames, "--frame-column", "frame_ms")
	if n := missing(); n != 0 {
		t.Errorf("run stop --frames: %d series of result_missing are left", n)
	}
}

// TestSensorsSayWhatTheyCannotRead spoils a file of the device.
func TestSensorsSayWhatTheyCannotRead(t *testing.T) {
	alone(t)
	d := liveDevice(t)
	if err := d.BreakFile("sys/class/power_supply/BAT0/temp", simdevice.Garbage); err != nil {
		t.Fatal(err)
	}
	out := strings.Join(strings.Fields(must(t, "sensors", "--for", "1ms")), " ")
	if !strings.Contains(out, "temperature_celsius BAT0, "+d.SysRoot()+"/class/power_supply/BAT0/temp: got \"") || !strings.Contains(out, "want ") {
		t.Errorf("the text that was read is not told:\n%s", out)
	}
}
