package attacks

import (
	"encoding/json"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"regexp"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"
)

// stayingAlive is what once starved, held up or ended the agent.
var stayingAlive = []attack{{
	fault:    "13 the setting command prints without end",
	expected: "said once; less than 100 MB of memory; the battery is read on",
	try: func(t *testing.T, m *machine) string {
		m.device()
		a := m.agent("--config", m.write("sweepd.yaml", "setting_command: [/usr/bin/yes]\nidle: '@every 1s'\n"))
		m.mustRun("run", "start", "--workload", "tile-sort")
		a.untilSettingFails("printed more than 4096 bytes")
		a.untilBatteryIsReadAgain()
		if n := strings.Count(a.log.String(), "the setting command failed"); n != 1 {
			t.Errorf("said %d times", n)
		}
		peak := a.peakMB()
		if peak > 100 {
			t.Errorf("%d MB", peak)
		}
		if out := m.run("sensors", "--for", "1ms", "--config", m.path("sweepd.yaml")).stdout; !strings.Contains(out, "setting_command: setting command /usr/bin/yes: ") {
			t.Errorf("sensors do not tell:\n%s", out)
		}
		return fmt.Sprintf("said once; %d MB; the battery is read on", peak)
	},
}, {
	fault:    "13 the setting command leaves a program behind that holds its output",
	expected: "the setting is read, the program is ended, the agent ends at once",
	try: func(t *testing.T, m *machine) string {
		m.device()
		a := m.agent("--config", m.write("sweepd.yaml", "setting_command: [sh, -c, 'sleep 600 & echo $! >>"+m.path("pids")+"; echo 21W']\n"))
		m.mustRun("run", "start", "--workload", "tile-sort")
		m.eventually("the setting is 21W", func() bool { return strings.Contains(a.get("/api/v1/status"), `"watts":21`) })
		a.untilBatteryIsReadAgain()
		a.stop()
		pids, err := os.ReadFile(m.path("pids"))
		if err != nil {
			t.Fatal(err)
		}
		for _, pid := range strings.Fields(string(pids)) {
			m.eventually("program "+pid+" is ended", func() bool {
				stat, err := os.ReadFile("/proc/" + pid + "/stat")
				return err != nil || strings.Contains(string(stat), ") Z ") || !strings.Contains(string(stat), "(sleep)")
			})
		}
		return "the setting is read, the program is ended, the agent ends at once"
	},
}, {
	fault:    "13 the setting command never worked",
	expected: "the log, the status and the list of sensors say why",
	try: func(t *testing.T, m *machine) string {
		a := m.agent("--config", m.write("sweepd.yaml", "setting_command: [/nowhere/print-limit]\n"))
		a.untilSettingFails("/nowhere/print-limit")
		if text := a.get("/api/v1/sensors"); !strings.Contains(text, "/nowhere/print-limit") {
			t.Errorf("sensors: %s", text)
		}
		m.eventually("the log tells", func() bool { return strings.Contains(a.log.String(), "/nowhere/print-limit") })
		return "the log, the status and the list of sensors say why"
	},
}, {
	fault:    "15 5,000 sensors where 1,024 files may be open",
	expected: "the loop stays, connections are served, what is left out is named",
	try: func(t *testing.T, m *machine) string {
		m.thermometers(5000)
		c := m.command("agent", "--listen", "127.0.0.1:0")
		c.Args = append([]string{"sh", "-c", `ulimit -n 1024 && exec "$@"`, "sh"}, c.Args...)
		c.Path = "/bin/sh"
		a := m.tryAgent(c)
		if a.url == "" {
			t.Fatalf("the agent ended:\n%s", a.log)
		}
		m.mustRun("run", "start", "--workload", "tile-sort")
		for range 200 {
			c, err := net.Dial("tcp", strings.TrimPrefix(a.url, "http://"))
			if err != nil {
				t.Fatal(err)
			}
			defer c.Close()
		}
		a.get("/metrics")
		m.mustRun("run", "stop")
		leftOut := regexp.MustCompile(`([0-9]+) sensors are left out \([^)]*temp[0-9]+_input`)
		n := 0
		m.eventually("the log and the list name as many as are left out", func() bool { // the number changes with the descriptors that others have
			n = strings.Count(a.get("/api/v1/sensors"), "no descriptor is left for it")
			said := leftOut.FindAllStringSubmatch(a.log.String(), -1)
			return n >= 4000 && len(said) > 0 && said[len(said)-1][1] == strconv.Itoa(n)
		})
		if a.ended() {
			t.Errorf("the agent ended:\n%s", a.log)
		}
		return fmt.Sprintf("the loop stays, connections are served, %d are named as left out", n)
	},
}, {
	fault:    "15 a sensor's file does not come back when read",
	expected: "no sampling gap, no scrape waits, the others are read, a stop is carried out",
	try: func(t *testing.T, m *machine) string {
		files := m.thermometers(3)
		f := newHangingFile(t, files[1], "45000\n")
		if f == nil {
			return "not tried: this user may not mount a file that hangs (collectors has the test)"
		}
		a := m.agent()
		t.Cleanup(f.free) // before the agent's end, which waits for it
		m.mustRun("run", "start", "--workload", "tile-sort")
		f.hang()
		m.eventually("a read hangs", func() bool { return f.waiting() > 0 })
		var slowest time.Duration
		for end := time.Now().Add(2 * time.Second); time.Now().Before(end); {
			began := time.Now()
			a.get("/metrics")
			slowest = max(slowest, time.Since(began))
		}
		if n := f.waiting(); n != 1 {
			t.Errorf("%d reads hang", n)
		}
		if text := a.get("/api/v1/sensors"); !strings.Contains(text, files[1]+": a read that began") || strings.Count(text, `"value":4`) != 2 {
			t.Errorf("sensors: %s", text)
		}
		stopped := m.mustRun("run", "stop", "--json").stdout
		if strings.Contains(stopped, "sampling_gap") {
			t.Errorf("the sampling was held up: %s", stopped)
		}
		if slowest > time.Second {
			t.Errorf("the slowest scrape took %v", slowest)
		}
		a.cmd.Process.Signal(syscall.SIGTERM)
		m.eventually("it says that it stopped", func() bool { return strings.Contains(a.log.String(), `"stopped"`) })
		f.free() // the kernel lets no process go before
		a.stop()
		return fmt.Sprintf("no sampling gap, the slowest scrape took %v, the others are read, a stop is carried out", slowest.Round(time.Millisecond))
	},
}, {
	fault:    "16 3,000 connections that ask for nothing",
	expected: "less than 100 MB of memory; a scraper and a person get in",
	try: func(t *testing.T, m *machine) string {
		m.device()
		a := m.agent()
		for range 3000 {
			c, err := net.Dial("tcp", strings.TrimPrefix(a.url, "http://"))
			if err != nil {
				t.Fatal(err)
			}
			defer c.Close()
		}
		if !strings.Contains(a.get("/metrics"), "sweepd_build_info") {
			t.Error("no metrics")
		}
		m.mustRun("run", "start", "--workload", "tile-sort")
		m.mustRun("run", "stop")
		peak := a.peakMB()
		if peak > 100 {
			t.Errorf("%d MB", peak)
		}
		return fmt.Sprintf("%d MB of memory; a scraper and a person get in", peak)
	},
}, {
	fault:    "16 a web page makes its own name resolve to the device",
	expected: "403 for its name, 200 for the device's, its address and a configured one",
	try: func(t *testing.T, m *machine) string {
		a := m.agent("--config", m.write("sweepd.yaml", "hosts: [unit-oak.lab.example]\n"))
		own, err := os.Hostname()
		if err != nil {
			t.Fatal(err)
		}
		var seen []string
		for _, x := range []struct {
			host string
			want int
		}{{"evil.example:9745", 403}, {own + ":9745", 200}, {"127.0.0.1:9745", 200}, {"unit-oak.lab.example:9745", 200}} {
			for _, path := range []string{"/metrics", "/api/v1/status"} {
				q, err := http.NewRequest(http.MethodGet, a.url+path, nil)
				if err != nil {
					t.Fatal(err)
				}
				q.Host = x.host
				resp, err := http.DefaultClient.Do(q)
				if err != nil {
					t.Fatal(err)
				}
				resp.Body.Close()
				if resp.StatusCode != x.want {
					t.Errorf("%s under %s: %d", path, x.host, resp.StatusCode)
				}
				seen = append(seen, strconv.Itoa(resp.StatusCode))
			}
		}
		return strings.Join(seen, " ")
	},
}, {
	fault:    "16 --listen with the address of a network",
	expected: "strangers get /metrics alone; commands on the device work on the same port",
	try: func(t *testing.T, m *machine) string {
		a := m.agent("--listen", addressOfNetwork()+":0")
		_, port, _ := net.SplitHostPort(strings.TrimPrefix(a.url, "http://"))
		m.env = append(m.env, "SWEEPD_AGENT=http://127.0.0.1:"+port)
		m.mustRun("run", "start", "--workload", "tile-sort")
		m.mustRun("run", "stop")
		if !strings.Contains(a.get("/metrics"), "sweepd_build_info") {
			t.Error("no metrics at " + a.url)
		}
		if addressOfNetwork() != loopback {
			resp, err := http.Get(a.url + "/api/v1/status")
			if err != nil {
				t.Fatal(err)
			}
			resp.Body.Close()
			if resp.StatusCode != http.StatusUnauthorized {
				t.Errorf("the status at %s: %d", a.url, resp.StatusCode)
			}
		}
		second := m.run("agent", "--data", m.path("other"), "--listen", "127.0.0.3:"+port)
		if second.code != 1 || !strings.Contains(second.stderr, "another program has the port") {
			t.Errorf("the port is taken on 127.0.0.1: exit %d, %s", second.code, second.stderr)
		}
		return "strangers get /metrics alone; commands on the device work on the same port"
	},
}}

// loopback stands for the address of a network where there is none.
const loopback = "127.0.0.2"

// addressOfNetwork is an address of this machine that others could reach.
func addressOfNetwork() string {
	list, _ := net.InterfaceAddrs()
	for _, a := range list {
		if n, ok := a.(*net.IPNet); ok && n.IP.To4() != nil && n.IP.IsGlobalUnicast() {
			return n.IP.String()
		}
	}
	return loopback
}

// thermometers makes a machine that has so many and nothing else, for the programs
// that are started after it. It returns their files.
func (m *machine) thermometers(n int) []string {
	m.t.Helper()
	var files []string
	for i := range n {
		chip := m.path(fmt.Sprintf("device/sys/class/hwmon/hwmon%d", i/100))
		if i%100 == 0 {
			if err := os.MkdirAll(chip, 0o755); err != nil {
				m.t.Fatal(err)
			}
			if err := os.WriteFile(chip+"/name", fmt.Appendf(nil, "chip%d\n", i/100), 0o644); err != nil {
				m.t.Fatal(err)
			}
		}
		files = append(files, fmt.Sprintf("%s/temp%d_input", chip, i%100+1))
		if err := os.WriteFile(files[i], fmt.Appendf(nil, "4%04d\n", i), 0o644); err != nil {
			m.t.Fatal(err)
		}
	}
	m.env = append(m.env, "HOST_SYS="+m.path("device/sys"), "HOST_PROC="+m.path("device/proc"))
	return files
}

// get asks the agent for a page, which must be there.
func (a *agent) get(path string) string {
	a.m.t.Helper()
	client := http.Client{Timeout: deadline}
	resp, err := client.Get(a.url + path)
	if err != nil {
		a.m.t.Fatal(err)
	}
	defer resp.Body.Close()
	text, err := io.ReadAll(resp.Body)
	if err != nil || resp.StatusCode != http.StatusOK {
		a.m.t.Fatalf("%s: %s, %v: %s", path, resp.Status, err, text)
	}
	return string(text)
}

// untilSettingFails waits until the status gives a reason why the setting command
// tells nothing.
func (a *agent) untilSettingFails(why string) {
	a.m.t.Helper()
	a.m.eventually("the status says "+why, func() bool {
		var s struct {
			Failure string `json:"setting_command_failure"`
		}
		if err := json.Unmarshal([]byte(a.get("/api/v1/status")), &s); err != nil {
			a.m.t.Fatal(err)
		}
		return strings.Contains(s.Failure, why)
	})
}

// untilBatteryIsReadAgain waits until the battery's content is another, which a
// simulated battery's is within a second.
func (a *agent) untilBatteryIsReadAgain() {
	a.m.t.Helper()
	read := func() *float64 {
		var rows []struct {
			Sensor string
			Value  *float64
		}
		if err := json.Unmarshal([]byte(a.get("/api/v1/sensors")), &rows); err != nil {
			a.m.t.Fatal(err)
		}
		for _, r := range rows {
			if r.Sensor == "battery_power_watts" {
				return r.Value
			}
		}
		return nil
	}
	var first *float64
	a.m.eventually("the battery is read again", func() bool {
		v := read()
		if first == nil {
			first = v
		}
		return v != nil && *v != *first
	})
}

// peakMB is the most memory that the agent had.
func (a *agent) peakMB() int {
	a.m.t.Helper()
	text, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", a.cmd.Process.Pid))
	if err != nil {
		a.m.t.Fatal(err)
	}
	_, rest, _ := strings.Cut(string(text), "VmHWM:")
	kb, err := strconv.Atoi(strings.Fields(rest)[0])
	if err != nil {
		a.m.t.Fatal(err)
	}
	return kb / 1024
}
