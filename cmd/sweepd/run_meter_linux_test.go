package main

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
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

// A log that lies elsewhere than it says, or than a person says: where it fits is found first
// and named, in the times of whoever asks, and what is named joins it.
func TestRunMeterAtAnotherPlace(t *testing.T) {
	d := charged(t)
	livesIn(t, time.FixedZone("", 2*3600))
	m := &simdevice.Meter{Device: d.bench.Device, NoiseW: 0.3, Seed: 6}
	id, truth := d.metered(m)
	moved := func(by time.Duration) string {
		behind := *m
		behind.Behind = by
		return d.write("bench.csv", behind.Log())
	}
	refused := func(want string, args ...string) (said string) {
		t.Helper()
		o := sweepd(t, append(append([]string{"run", "meter", id}, args...), d.flags...)...)
		if o.code != exitFailed || !strings.Contains(o.stderr, want) {
			t.Errorf("%v: exit %d, %s\nwant %q", args, o.code, o.stderr, want)
		}
		return o.stderr
	}
	joins := func(file, offset string, want float64) {
		t.Helper()
		joined := d.meter(id, file, "--offset", offset)
		if after := d.shown(id); math.Abs(joined.OffsetS-want) > 0.3 || after.SystemW == nil || math.Abs(*after.SystemW/truth.MainsW-1) > 0.01 || after.HasFinding(run.MeterDisagrees) {
			t.Errorf("%s: %+v, whole device %v, the truth is %v", offset, joined, after.SystemW, truth.MainsW)
		}
		d.do("run", "meter", id, "--undo")
	}
	named := regexp.MustCompile(`say by how much: --offset (\S+)\n`)

	// The meter's clock is in another zone, or of another day.
	for by, want := range map[time.Duration]string{
		-time.Hour: "(about 1 h: another time zone, or summer time?)", 5*time.Hour + 30*time.Minute: "(about 5.5 h: another",
		26*time.Hour + 7*time.Minute: "is it the right file, and the right run?",
	} {
		file := moved(by)
		said := refused(want, file)
		offset := named.FindStringSubmatch(said)
		if offset == nil {
			t.Fatalf("%v: no offset is named: %s", by, said)
		}
		at := d.bench.Now().In(time.Local)
		if day := at.Add(-by).Format("2006-01-02 "); !strings.Contains(said, day) || !strings.Contains(said, "UTC+02:00") || !strings.Contains(said, at.Format("2006-01-02 15:")) {
			t.Errorf("the times are not those of whoever asks (%v): %s", at, said)
		}
		joins(file, offset[1], by.Seconds())
	}
	noisy := "time,power_w\n"
	for i := range 1000 {
		noisy += fmt.Sprintf("%s,%.2f\n", time.Date(2020, 1, 1, 0, 0, 0, i*1e8, time.UTC).Format(time.RFC3339Nano), 30+math.Mod(float64(i*i)*0.7321, 5))
	}
	for want, log := range map[string]string{
		"nowhere does its power follow that of the run": noisy, "nothing tells where it fits": "time,power_w\n2020-01-01T00:00:00Z,5\n2020-01-01T00:00:01Z,6\n",
	} {
		if said := refused(want, d.write("other.csv", log)); named.MatchString(said) {
			t.Errorf("an offset is named for a log that fits nowhere: %s", said)
		}
	}

	// A person gives the offset with the wrong sign, or in the wrong unit.
	file := moved(5 * time.Second)
	for _, offset := range []string{"-5s", "9s", "5ms"} {
		refused("leave --offset out, or give --offset ", file, "--offset", offset)
	}
	refused("no value of the log lies in the run; its power fits to the run's at an offset of +", file, "--offset", "5m")
	refused("in the right unit? Its power fits to the run's at an offset of +", file, "--offset", "37s")
	if got := d.shown(id); got.SystemW != nil {
		t.Fatalf("something was joined: %v W", *got.SystemW)
	}
	out := d.do("run", "meter", id, file, "--offset", "-5s", "--force")
	if !strings.Contains(out, "offset -5.00 s as given") || !strings.Contains(out, "doubt meter_disagrees: at the offset that was given, -5.0 s") {
		t.Errorf("forced: %s", out)
	}
	if out := d.do("run", "doubts"); !strings.Contains(out, "meter_disagrees") {
		t.Errorf("a forced offset needs no look:\n%s", out)
	}
	if joined := d.meter(id, file, "--replace"); !joined.Found || joined.Run.HasFinding(run.MeterDisagrees) {
		t.Errorf("found after all: %+v", joined)
	}
	d.do("run", "meter", id, "--undo")
	if o := sweepd(t, append([]string{"run", "meter", id, file, "--force"}, d.flags...)...); o.code != exitUsage {
		t.Errorf("--force without --offset: exit %d, %s", o.code, o.stderr)
	}

	// A log that fits nowhere is doubted at any offset, and so is what it gives.
	noise := "time_s,power_w\n"
	for i := range 1000 {
		noise += fmt.Sprintf("%.1f,%.2f\n", float64(i)/10, 30+math.Mod(float64(i*i)*0.7321, 5))
	}
	joined := d.meter(id, d.write("noise.csv", noise), "--offset", "0s")
	if !joined.Run.HasFinding(run.MeterDisagrees) || joined.BetterOffsetS != nil || joined.Found {
		t.Errorf("a log of another run: %+v", joined)
	}
	d.do("run", "meter", id, "--undo")
	if after := d.shown(id); after.HasFinding(run.MeterDisagrees) {
		t.Error("the doubt stays when the log is taken out")
	}
}

// What meters write that is not quite what it should be.
func TestRunMeterForms(t *testing.T) {
	d := charged(t)
	m := &simdevice.Meter{Device: d.bench.Device, NoiseW: 0.3, Seed: 8}
	id, truth := d.metered(m)
	rows := strings.Split(strings.TrimSpace(m.LogSince()), "\n")[3:] // of seconds and milliwatts
	table := func(head string, f func(s, mw float64) string) string {
		lines := []string{head}
		for _, row := range rows {
			at, power, _ := strings.Cut(strings.ReplaceAll(row, ",", "."), ";")
			s, err := strconv.ParseFloat(at, 64)
			mw, err2 := strconv.ParseFloat(power, 64)
			if err != nil || err2 != nil {
				t.Fatal(row)
			}
			lines = append(lines, f(s, mw))
		}
		return d.write("log.csv", strings.Join(lines, "\n")+"\n")
	}
	comma := func(v float64) string { return strings.Replace(fmt.Sprintf("%.3f", v), ".", ",", 1) }
	for name, c := range map[string]struct{ file, unit string }{
		"milliseconds without a unit": {table("time,power_w", func(s, mw float64) string { return fmt.Sprintf("%.0f,%.3f", 1000*s, mw/1000) }), "ms"},
		"microseconds without a unit": {table("time,power_w", func(s, mw float64) string { return fmt.Sprintf("%.0f,%.3f", 1e6*s, mw/1000) }), "us"},
		"milliseconds by their name":  {table("time_ms,power_w", func(s, mw float64) string { return fmt.Sprintf("%.0f,%.3f", 1000*s, mw/1000) }), ""},
		"semicolons, decimal commas":  {table("t (s);P (mW)", func(s, mw float64) string { return comma(s) + ";" + comma(mw) }), ""},
		"decimal commas in quotes":    {table("time_s,power_w", func(s, mw float64) string { return `"` + comma(s) + `","` + comma(mw/1000) + `"` }), ""},
	} {
		o := sweepd(t, append([]string{"run", "meter", id, c.file, "--json"}, d.flags...)...)
		if name == "decimal commas in quotes" { // 12,345 may be a thousand
			if o.code == exitOK || !strings.Contains(o.stderr, "line 2") {
				t.Errorf("%s: exit %d %s%s", name, o.code, o.out, o.stderr)
			}
			continue
		}
		var joined testday.MeterAnswer
		if err := json.Unmarshal([]byte(o.out), &joined); err != nil || o.code != exitOK {
			t.Errorf("%s: exit %d, %s (%v)", name, o.code, o.stderr, err)
			continue
		}
		if w := joined.Run.SystemW; joined.TimeUnit != c.unit || w == nil || math.Abs(*w/truth.MainsW-1) > 0.01 || math.Abs(joined.OffsetS+30) > 0.4 {
			t.Errorf("%s: %+v, whole device %v, want %v", name, joined, w, truth.MainsW)
		}
		d.do("run", "meter", id, "--undo")
	}
	for name, c := range map[string]struct{ file, want string }{
		"decimal commas between commas": {table("time_s,power_w", func(s, mw float64) string { return comma(s) + "," + comma(mw/1000) }), "line 2 has 4 fields, and there are 2 columns: where decimals follow a comma, separate the columns by semicolons"},
		"milliwatts called power":       {table("time_s,power", func(s, mw float64) string { return fmt.Sprintf("%.3f,%.1f", s, mw) }), "A column of milliwatts ends in it: power_mw"},
		"an empty file":                 {d.write("empty.csv", ""), "empty.csv is empty"},
	} {
		o := sweepd(t, append([]string{"run", "meter", id, c.file}, d.flags...)...)
		if o.code != exitFailed || !strings.Contains(o.stderr, c.want) {
			t.Errorf("%s: exit %d, %s\nwant %q", name, o.code, o.stderr, c.want)
		}
	}
	late := strings.Join(append([]string{"t (s);P (mW)"}, rows[len(rows)*45/100:]...), "\n")
	o := sweepd(t, append([]string{"run", "meter", id, d.write("late.csv", late)}, d.flags...)...)
	if o.code != exitFailed || !strings.Contains(o.stderr, "it has to begin before the run and to end after it") {
		t.Errorf("a log that began in mid-run: exit %d, %s%s", o.code, o.out, o.stderr)
	}
	if got := d.shown(id); got.SystemW != nil {
		t.Errorf("something was joined: %v W", *got.SystemW)
	}
}
