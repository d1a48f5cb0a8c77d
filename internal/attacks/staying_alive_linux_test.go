package attacks

import (
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"os"
	"strconv"
	"strings"
	"testing"
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
}}

// get asks the agent for a page, which must be there.
func (a *agent) get(path string) string {
	a.m.t.Helper()
	resp, err := http.Get(a.url + path)
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
