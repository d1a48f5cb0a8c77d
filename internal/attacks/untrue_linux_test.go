package attacks

import (
	"encoding/json"
	"fmt"
	"io"
	"math"
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"sweepd/internal/simdevice"
	"sweepd/run"
)

// untrue is what a device's files say that is not so.
var untrue = []attack{
	step("10 a quarter of the battery's content is gone at once, in a run", "fell by 12.", func(d *simdevice.Device, _ *machine) {
		d.SetCharge(d.Truth().ChargeRatio - 0.25)
	}),
	step("10 a tenth more of content at once, in a run", "rose by 4.", func(d *simdevice.Device, _ *machine) {
		d.SetCharge(d.Truth().ChargeRatio + 0.1)
	}),
	step("10 the battery is changed for another one, in a run", "full content changed from 48.60 to 40.20 Wh", func(d *simdevice.Device, m *machine) {
		m.show(d, "sys/class/power_supply/BAT0/energy_full", "40200000")
		d.SetCharge(0.3)
	}),
	{
		fault:    "11 the energy counter leaps by 50 kJ, in a run",
		expected: "counter_step; package power and the exported energy as if it had not",
		try: func(t *testing.T, m *machine) string {
			d := m.device()
			d.StartWorkload(simdevice.HarbourFlight())
			a := m.agent()
			m.mustRun("run", "start", "--workload", "harbour-flight")
			energy := func() float64 {
				return a.metric(`sweepd_energy_joules_total\{[^}]*domain="package"[^}]*workload="harbour-flight"[^}]*\}`)
			}
			m.eventually("energy is counted", func() bool { return energy() > 4 })
			before := energy()
			d.LeapCounter(50_000)
			m.eventually("the leap was seen", func() bool { return strings.Contains(a.log.String(), "leapt from") })
			seen := energy()
			m.eventually("energy is counted after it", func() bool { return energy() > seen+8 })
			r := m.stopped()
			found := r.mustHave(t, run.CounterStep, "leapt by 500")
			if r.PackageW == nil || *r.PackageW < 5 || *r.PackageW > 60 {
				t.Errorf("package_w is %v", number(r.PackageW))
			}
			if after := energy(); after > before+500 {
				t.Errorf("the exported energy leapt from %.0f to %.0f J", before, after)
			}
			return fmt.Sprintf("%s, package_w %s W", found, number(r.PackageW))
		},
	},
	{
		fault:    "11 readings beyond physics: 500 kW, -1e9 V, 4.3 THz, 1e6 and -274 °C, 60 bits of Wh, nan",
		expected: "each is missing, the text as read is told by sensors and log, and counted",
		try: func(t *testing.T, m *machine) string {
			d := m.device()
			refused := map[string]string{
				"sys/class/power_supply/BAT0/power_now":                        "500000000000",
				"sys/class/power_supply/BAT0/temp":                             "10000000",
				"sys/class/power_supply/BAT0/energy_now":                       "1152921504606846976",
				"sys/class/power_supply/BAT0/voltage_now":                      "-1000000000000000",
				"sys/devices/system/cpu/cpufreq/policy0/scaling_cur_freq":      "4300000000",
				"sys/class/thermal/thermal_zone0/temp":                         "-274000",
				"sys/devices/virtual/powercap/sim-power/sim-power:0/energy_uj": "nan",
			}
			for file, text := range refused {
				m.show(d, file, text)
			}
			a := m.agent()
			var rows []struct {
				Sensor, Source, Missing string
				Value                   *float64
			}
			if err := json.Unmarshal([]byte(m.mustRun("sensors", "--for", "1ms", "--json").stdout), &rows); err != nil {
				t.Fatal(err)
			}
			for file, text := range refused {
				source, told := m.path(filepath.Join("device", file)), false
				for _, r := range rows {
					if r.Source == source && r.Value != nil && r.Sensor != run.BatteryCharge {
						t.Errorf("%s: %q is believed: %v", file, text, *r.Value)
					}
					told = told || strings.Contains(r.Missing, text) && (text == "nan" || strings.Contains(r.Missing, fmt.Sprintf("refused: %q read from %s is beyond ", text, source)))
				}
				if !told {
					t.Errorf("sensors do not say that %s is %q", file, text)
				}
			}
			m.eventually("the log says all", func() bool { return strings.Count(a.log.String(), `refused: \"`) == len(refused)-1 })
			errors := a.metric(`sweepd_collector_errors_total\{collector="power_supply"\}`)
			if errors < 1 {
				t.Errorf("%v errors of the battery are counted", errors)
			}
			return "all missing, with their texts"
		},
	},
}

// step is a content that steps in the middle of a run while some 20 W leave the battery.
func step(fault, says string, do func(*simdevice.Device, *machine)) attack {
	return attack{
		fault:    fault,
		expected: "content_step; the run's power is what the battery gave, or unknown",
		try: func(t *testing.T, m *machine) string {
			cfg := simdevice.UnitOak()
			cfg.Batteries[0].QuantumWh = 0.001 // changes at each refresh
			d := m.deviceOf(cfg)
			d.Unplug()
			d.SetCharge(0.8)
			d.StartWorkload(simdevice.HarbourFlight())
			a := m.agent()
			content := func() float64 { return a.metric(`sweepd_battery_charge_ratio\{[^}]*workload="harbour-flight"[^}]*\}`) }
			changes := func(n int) {
				for last := content(); n > 0; n-- {
					m.eventually("the content changes", func() bool { now := content(); ok := !math.IsNaN(now) && now != last; last = now; return ok })
				}
			}
			m.mustRun("run", "start", "--workload", "harbour-flight")
			changes(1)
			do(d, m)
			changes(2)
			r := m.stopped()
			found := r.mustHave(t, run.ContentStep, says)
			if w := r.SystemW; w != nil && (*w < 5 || *w > 60) {
				t.Errorf("system_w is %v", *w)
			}
			return fmt.Sprintf("%s, system_w %s W", found, number(r.SystemW))
		},
	}
}

// show makes a file of the device show a text, whatever is so.
func (m *machine) show(d *simdevice.Device, file, text string) {
	m.t.Helper()
	if err := d.BreakFile(file, simdevice.Frozen); err != nil {
		m.t.Fatal(err)
	}
	name := m.path(filepath.Join("device", file))
	if err := os.Chmod(name, 0o644); err != nil {
		m.t.Fatal(err)
	}
	if err := os.WriteFile(name, []byte(text+"\n"), 0o644); err != nil {
		m.t.Fatal(err)
	}
}

// metric is the value of the series that the expression matches, NaN where there is none.
func (a *agent) metric(series string) float64 {
	a.m.t.Helper()
	answer, err := http.Get(a.url + "/metrics")
	if err != nil {
		a.m.t.Fatal(err)
	}
	defer answer.Body.Close()
	text, err := io.ReadAll(answer.Body)
	if err != nil {
		a.m.t.Fatal(err)
	}
	found := regexp.MustCompile(`(?m)^` + series + ` (\S+)$`).FindSubmatch(text)
	if found == nil {
		return math.NaN()
	}
	v, err := strconv.ParseFloat(string(found[1]), 64)
	if err != nil {
		a.m.t.Fatal(err)
	}
	return v
}

// stoppedRun is what `run stop --json` says of the run.
type stoppedRun struct{ run.Record }

func (m *machine) stopped() stoppedRun {
	m.t.Helper()
	var r stoppedRun
	if err := json.Unmarshal([]byte(m.mustRun("run", "stop", "--json", "--result", "fps_mean=60fps").stdout), &r.Record); err != nil {
		m.t.Fatal(err)
	}
	return r
}

// mustHave looks for a finding and gives what there is in a few words.
func (r stoppedRun) mustHave(t *testing.T, code run.Code, says string) string {
	t.Helper()
	for _, f := range r.Findings {
		if f.Code == code {
			if !strings.Contains(f.Text, says) {
				t.Errorf("%s does not say %q: %s", code, says, f.Text)
			}
			return string(code)
		}
	}
	t.Errorf("no finding %s: %v", code, r.Findings)
	return "no " + string(code)
}

func number(v *float64) string {
	if v == nil {
		return "unknown"
	}
	return strconv.FormatFloat(*v, 'f', 1, 64)
}
