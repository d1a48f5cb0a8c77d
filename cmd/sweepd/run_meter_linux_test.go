package main

import (
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"sweepd/internal/simdevice"
	"sweepd/run"
	"sweepd/testday"
)

// metered records a run on mains, with a meter in the cable from half a minute before it to
// half a minute after, and gives the run's id and the true mean of what the charger gave.
func (d *testDay) metered(m *simdevice.Meter) (id string, truth simdevice.Means) {
	d.t.Helper()
	pass := func(span time.Duration) {
		for end := d.bench.Now().Add(span); d.bench.Now().Before(end); m.Read() {
			d.pass(250 * time.Millisecond)
		}
	}
	pass(30 * time.Second)
	d.do("run", "start", "--workload", "harbour-flight", "--setting", "20W")
	d.bench.Recording(true)
	before := d.bench.Device.Truth()
	pass(3 * time.Second)
	d.bench.Device.StartWorkload(simdevice.HarbourFlight())
	pass(25 * time.Second)
	played, _ := d.bench.Device.StopWorkload()
	pass(2 * time.Second)
	truth = simdevice.Between(before, d.bench.Device.Truth())
	d.do("run", "stop", "--result", played.Metric+"="+run.TypedNumber(played.Value)+played.Unit)
	d.bench.Recording(false)
	pass(30 * time.Second)
	return d.shown("last").ID, truth
}

func (d *testDay) write(name, text string) string {
	d.t.Helper()
	path := filepath.Join(d.t.TempDir(), name)
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		d.t.Fatal(err)
	}
	return path
}

func (d *testDay) meter(args ...string) (m testday.MeterAnswer) {
	d.t.Helper()
	if err := json.Unmarshal([]byte(d.do(append([]string{"run", "meter", "--json"}, args...)...)), &m); err != nil {
		d.t.Fatal(err)
	}
	return m
}

// charged is a test day whose device is full and at rest on mains.
func charged(t *testing.T) *testDay {
	d := newTestDay(t)
	d.bench.Device.SetCharge(1)
	d.bench.Device.SetLimit(20)
	d.rest(time.Minute)
	return d
}

// The log of a meter whose clock is off gives the power of the whole device on mains, marked
// as such, and is taken out again without a trace.
func TestRunMeter(t *testing.T) {
	d := charged(t)
	m := &simdevice.Meter{Device: d.bench.Device, Behind: 3200 * time.Millisecond, NoiseW: 0.3, Seed: 5}
	id, truth := d.metered(m)
	before := d.shown(id)
	traceBefore := traceOf(d, id)
	if before.SystemW != nil || before.SystemWSource != "" {
		t.Fatalf("on mains without a meter: %v W (%s)", before.SystemW, before.SystemWSource)
	}
	file := d.write("bench.csv", m.Log())

	joined := d.meter(id, file)
	if !joined.Found || math.Abs(joined.OffsetS-3.2) > 0.13 || joined.Correlation == nil || *joined.Correlation < 0.9 || joined.Covered != 1 {
		t.Errorf("%+v, want an offset of 3.2 s", joined)
	}
	after := d.shown(id)
	if after.SystemW == nil || math.Abs(*after.SystemW/truth.MainsW-1) > 0.01 || after.SystemWSource != run.FromExternal {
		t.Fatalf("whole device %v (%s), the truth is %v", after.SystemW, after.SystemWSource, truth.MainsW)
	}
	var external *run.Summary
	for i := range after.Summaries {
		if after.Summaries[i].Sensor == run.ExternalPower {
			external = &after.Summaries[i]
		}
	}
	if external == nil || external.EnergyJoules == nil || math.Abs(*external.EnergyJoules/(truth.MainsW*truth.Seconds)-1) > 0.01 {
		t.Errorf("the summary is %+v", external)
	}
	if list := d.do("run", "list", "--json"); !strings.Contains(list, `"system_w_source": "external"`) {
		t.Errorf("the list does not mark it:\n%s", list)
	}
	if out := d.do("check"); !strings.Contains(out, "whole") && strings.Contains(out, "damaged") {
		t.Errorf("the data is damaged:\n%s", out)
	}

	if o := sweepd(t, append([]string{"run", "meter", id, file}, d.flags...)...); o.code != exitFailed || !strings.Contains(o.stderr, "--replace") {
		t.Errorf("a second log: exit %d, %s", o.code, o.stderr)
	}
	again := d.meter(id, file, "--replace", "--offset", "3,2s")
	if again.Found || again.OffsetS != 3.2 || again.Correlation == nil {
		t.Errorf("replaced by one at a given offset: %+v", again)
	}
	d.do("run", "meter", id, "--undo")
	if diff := cmp.Diff(before, d.shown(id)); diff != "" {
		t.Errorf("taken out again (-before +after):\n%s", diff)
	}
	if diff := cmp.Diff(traceBefore, traceOf(d, id)); diff != "" {
		t.Errorf("the readings are not what they were:\n%s", diff)
	}
	if o := sweepd(t, append([]string{"run", "meter", id, "--undo"}, d.flags...)...); o.code != exitFailed || !strings.Contains(o.stderr, "no meter's log is joined") {
		t.Errorf("taking out what is not there: exit %d, %s", o.code, o.stderr)
	}

	// Seconds since the meter was switched on, milliwatts, semicolons, decimal commas.
	since := d.meter(id, d.write("since.csv", m.LogSince()))
	if !since.Found || math.Abs(since.OffsetS+30) > 0.4 {
		t.Errorf("the log that began 30 s before the run: %+v", since)
	}
	said := d.do("run", "meter", id, file, "--replace")
	for _, want := range []string{"found at an offset of +3.", "it covers 100 % of the run", "W (external)"} {
		if !strings.Contains(said, want) {
			t.Errorf("no %q in\n%s", want, said)
		}
	}
	// Another file takes the readings over with the run.
	other := t.TempDir()
	must(t, "merge", filepath.Join(d.flags[1], "sweepd.db"), "--data", other)
	var merged run.Record
	if err := json.Unmarshal([]byte(must(t, "run", "show", id, "--json", "--data", other)), &merged); err != nil {
		t.Fatal(err)
	}
	if now := d.shown(id); merged.SystemW == nil || *merged.SystemW != *now.SystemW || merged.SystemWSource != run.FromExternal {
		t.Errorf("merged: %v (%s)", merged.SystemW, merged.SystemWSource)
	}
}

// traceOf are the sweeps of a run.
func traceOf(d *testDay, id string) (list []run.Sweep) {
	d.t.Helper()
	trace, err := d.store.Trace(d.t.Context(), id)
	if err != nil {
		d.t.Fatal(err)
	}
	err = trace.Each(func(s run.Sweep) error {
		kept := s
		kept.Values = nil
		for _, v := range s.Values {
			kept.Values = append(kept.Values, math.Round(v*1e9)) // NaN differs from itself
		}
		for i, v := range kept.Values {
			if math.IsNaN(v) {
				kept.Values[i] = -1e300
			}
		}
		list = append(list, kept)
		return nil
	})
	if err != nil {
		d.t.Fatal(err)
	}
	return list
}

// The likely slips: nothing is joined, and what to do is said.
func TestRunMeterSlips(t *testing.T) {
	d := charged(t)
	m := &simdevice.Meter{Device: d.bench.Device, NoiseW: 0.3, Seed: 6}
	id, _ := d.metered(m)
	good := m.Log()
	lines := strings.Split(strings.TrimSpace(good), "\n")
	edit := func(f func(i int, fields []string) string) string {
		out := []string{lines[0]}
		for i, line := range lines[1:] {
			out = append(out, f(i, strings.Split(line, ",")))
		}
		return strings.Join(out, "\n")
	}
	shifted := func(by time.Duration) string {
		return edit(func(_ int, fields []string) string {
			at, err := time.Parse(time.RFC3339Nano, fields[0])
			if err != nil {
				t.Fatal(err)
			}
			return at.Add(by).Format(time.RFC3339Nano) + "," + fields[1]
		})
	}
	swapped := append([]string{}, lines...)
	swapped[100], swapped[200] = swapped[200], swapped[100]
	energy := 0.0
	for name, c := range map[string]struct {
		log  string
		args []string
		want string
	}{
		"another day":          {shifted(26 * time.Hour), nil, "is it the right file, and the right run? If the meter's clock is wrong, say by how much: --offset"},
		"rows out of order":    {strings.Join(swapped, "\n"), nil, "line 102, column Time"},
		"an energy":            {edit(func(_ int, f []string) string { energy += 0.1; return f[0] + "," + run.TypedNumber(energy) }), nil, "only rises, from 0.1"},
		"an energy by name":    {strings.Replace(good, "Power [W]", "Energy [Wh]", 1), nil, "no column is of watts by its name"},
		"watts that are milli": {edit(func(_ int, f []string) string { return f[0] + ",0.0" + strings.ReplaceAll(f[1], ".", "") }), nil, "in the right unit?"},
		"noise": {edit(func(i int, f []string) string {
			return f[0] + "," + run.TypedNumber(30+math.Mod(float64(i*i)*0.7321, 5))
		}), nil, "--offset"},
		"it never moves":        {edit(func(i int, f []string) string { return f[0] + ",30" }), nil, "--offset 3.2s"},
		"only half of the run":  {strings.Join(lines[:170], "\n"), []string{"--offset", "0s"}, "at least 90 % are needed"},
		"an offset far off":     {good, []string{"--offset", "2h"}, "no value of the log lies in the run"},
		"a word":                {edit(func(i int, f []string) string { return f[0] + "," + strings.Replace(f[1], ".", "x", i/50) }), nil, "line 52, column Power [W]"},
		"no such column":        {good, []string{"--watts", "P1"}, `has no column "P1": its columns are Time, Power [W]`},
		"no table":              {"hello\n", nil, "no line names columns of time and power"},
		"dates of two readings": {edit(func(_ int, f []string) string { return "03/04/2026 10:00:00," + f[1] }), nil, "may have day or month first"},
	} {
		o := sweepd(t, append(append([]string{"run", "meter", id, d.write("log.csv", c.log)}, c.args...), d.flags...)...)
		if o.code != exitFailed || !strings.Contains(o.stderr, c.want) {
			t.Errorf("%s: exit %d, %s\nwant %q", name, o.code, o.stderr, c.want)
		}
	}
	if o := sweepd(t, append([]string{"run", "meter", id, d.write("log.csv", good), "--offset", "3"}, d.flags...)...); o.code != exitUsage || !strings.Contains(o.stderr, "with its unit") {
		t.Errorf("an offset without a unit: exit %d, %s", o.code, o.stderr)
	}
	if got := d.shown(id); got.SystemW != nil {
		t.Errorf("something was joined: %v W", *got.SystemW)
	}

	// The wrong run: one on battery.
	d.bench.Device.Unplug()
	d.rest(20 * time.Second)
	d.record("--workload", "harbour-flight", "--setting", "20W")
	if o := sweepd(t, append([]string{"run", "meter", "last", d.write("log.csv", good)}, d.flags...)...); o.code != exitFailed || !strings.Contains(o.stderr, "sees nothing") {
		t.Errorf("a run on battery: exit %d, %s", o.code, o.stderr)
	}
	d.do("run", "start", "--workload", "harbour-flight", "--setting", "20W")
	if o := sweepd(t, append([]string{"run", "meter", "last", d.write("log.csv", good)}, d.flags...)...); o.code != exitFailed || !strings.Contains(o.stderr, "stop it first") {
		t.Errorf("a run that is recording: exit %d, %s", o.code, o.stderr)
	}
}
