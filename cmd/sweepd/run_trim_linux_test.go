package main

import (
	"math"
	"strings"
	"testing"
	"time"

	"sweepd/internal/simdevice"
	"sweepd/run"
)

// recordTail runs the load for a while and leaves the device idle for as long as is said
// before the run is stopped.
func (d *testDay) recordTail(setting string, load, idle time.Duration) (id string) {
	d.t.Helper()
	return d.recordPhases(setting, load, idle)
}

// recordPhases runs the load, leaves the device idle, runs the load again and so on.
func (d *testDay) recordPhases(setting string, phases ...time.Duration) (id string) {
	d.t.Helper()
	limit, err := run.ParseSetting(setting)
	if err != nil {
		d.t.Fatal(err)
	}
	watts, _ := limit.Watts()
	d.bench.Device.SetLimit(watts)
	d.rest(20 * time.Second)
	d.do("run", "start", "--workload", "tile-sort", "--setting", setting)
	id = d.recording().ID
	d.bench.Recording(true)
	for i, phase := range phases {
		if i%2 == 0 && phase > 0 {
			d.bench.Device.StartWorkload(simdevice.TileSort())
		}
		d.pass(phase)
		d.bench.Device.StopWorkload()
	}
	if err := d.bench.Device.Flush(); err != nil {
		d.t.Fatal(err)
	}
	d.do("run", "stop", "--result", "seconds=61")
	d.bench.Recording(false)
	d.rest(2 * time.Minute)
	return id
}

func near(t *testing.T, what string, got *float64, want, within float64) {
	t.Helper()
	if got == nil || math.Abs(*got-want) > within {
		t.Errorf("%s: %v, want %v within %v", what, got, want, within)
	}
}

// A run that went on idle gets no watts until its user says up to where it counts; then it
// has those that a run stopped in time has.
func TestIdleTail(t *testing.T) {
	alone(t)
	d := newTestDay(t)
	d.bench.Device.Unplug()
	d.rest(time.Minute)
	good := d.shown(d.recordTail("20W", 40*time.Second, 0))
	if good.HasFinding(run.IdleTail) || good.PackageW == nil || good.SystemW == nil || good.LoadEndS != nil {
		t.Fatalf("stopped in time: %+v", good)
	}
	id := d.recordTail("20W", 40*time.Second, 25*time.Second)
	late := d.shown(id)
	if !late.TailUndecided() || late.PackageW != nil || late.SystemW != nil {
		t.Fatalf("%+v", late)
	}
	near(t, "load_end_s", late.LoadEndS, 40, 1.5)
	near(t, "duration_s", late.DurationS, 65, 1)
	for _, s := range late.Summaries {
		if s.Sensor == run.PackagePower {
			near(t, "load_mean", s.LoadMean, *good.PackageW, 0.05**good.PackageW)
			if s.Mean == nil || *s.Mean > 0.8**good.PackageW {
				t.Errorf("the mean of all is not whole: %v", *s.Mean)
			}
		}
	}
	out := d.do("run", "show", id)
	for _, part := range []string{"idle_tail: the load ended after ", "sweepd run trim RUN", "its power does not count: idle at its end"} {
		if !strings.Contains(strings.Join(strings.Fields(out), " "), part) {
			t.Errorf("%q is missing in\n%s", part, out)
		}
	}
	if out := d.do("battery", "--json"); !strings.Contains(out, `"reason": "idle at its end: see sweepd run trim"`) || !strings.Contains(out, `"n": 1`) {
		t.Errorf("its watts count: %s", out)
	}
	d.do("run", "trim", id)
	cut := d.shown(id)
	near(t, "duration_s", cut.DurationS, *late.LoadEndS, 0)
	near(t, "whole_s", cut.WholeS, *late.DurationS, 0)
	near(t, "package_w", cut.PackageW, *good.PackageW, 0.04**good.PackageW)
	near(t, "system_w", cut.SystemW, *good.SystemW, 0.06**good.SystemW)
	if cut.TailUndecided() || len(cut.Results) != 1 || len(cut.Summaries) != len(late.Summaries) || *cut.Summaries[0].Mean != *late.Summaries[0].Mean {
		t.Errorf("%+v", cut)
	}
	if out := d.do("run", "show", id); !strings.Contains(out, "finished, trimmed") || !strings.Contains(out, "trimmed from 6") {
		t.Error(out)
	}
	if out := d.do("run", "list"); strings.Count(out, "trimmed") != 1 {
		t.Error(out)
	}
	if out := d.do("battery", "--json"); !strings.Contains(out, `"left_out": []`) || !strings.Contains(out, `"n": 2`) {
		t.Errorf("its watts do not count: %s", out)
	}
	d.do("run", "trim", id, "--end", "-12s")
	near(t, "12 s before the stop", d.shown(id).DurationS, *late.DurationS-12, 1e-9)
	d.do("run", "trim", id, "--end", "30,5s")
	near(t, "after the start", d.shown(id).DurationS, 30.5, 1e-9)
	d.do("check")
	d.do("run", "trim", id, "--undo")
	if back := d.shown(id); !back.TailUndecided() || back.WholeS != nil || *back.DurationS != *late.DurationS || back.PackageW != nil ||
		*back.Discharge.Watts != *late.Discharge.Watts || *back.Discharge.UncertaintyWatts != *late.Discharge.UncertaintyWatts {
		t.Errorf("taken back: %+v, want %+v", back, late)
	}
	if o := d.try("run", "trim", id, "--undo"); o.code != exitFailed || !strings.Contains(o.stderr, "not trimmed") {
		t.Errorf("twice: %+v", o)
	}
	d.do("run", "keep", id, "--why", "the scene ends in a menu")
	if kept := d.shown(id); kept.TailUndecided() || kept.WholeS != nil || kept.PackageW == nil || kept.SystemW == nil || *kept.DurationS != *late.DurationS {
		t.Errorf("kept: %+v", kept)
	}
	d.do("run", "keep", id, "--undo")
	if back := d.shown(id); !back.TailUndecided() || back.PackageW != nil {
		t.Errorf("keeping taken back: %+v", back)
	}
	d.do("check")

	// Any other run can be trimmed, too, where it is said.
	for _, c := range []struct {
		args string
		code int
		says string
	}{
		{good.ID, exitFailed, "was not found idle at its end"},
		{good.ID + " --end 400s", exitUsage, "not within the run"},
		{good.ID + " --end -400s", exitUsage, "not within the run"},
		{good.ID + " --end soon", exitUsage, "is no time"},
		{good.ID + " --end 0s", exitUsage, "not within the run"},
		{good.ID + " --end 5s --undo", exitUsage, "end"},
		{good.ID + " --undo", exitFailed, "not trimmed"},
		{"ffffffff", exitFailed, "no such run"},
	} {
		if o := d.try(append([]string{"run", "trim"}, strings.Fields(c.args)...)...); o.code != c.code || !strings.Contains(o.stderr, c.says) {
			t.Errorf("%s: %+v", c.args, o)
		}
	}
	d.do("run", "trim", good.ID, "--end", "20s", "--why", "the second scene was another")
	if cut := d.shown(good.ID); cut.HasFinding(run.IdleTail) || *cut.DurationS != 20 || cut.PackageW == nil {
		t.Errorf("by hand: %+v", cut)
	}
	if out := d.do("run", "show", good.ID, "--all"); !strings.Contains(strings.Join(strings.Fields(out), " "), "trimmed up to 20.0 s by "+typist()+": the second scene was another") {
		t.Error(out)
	}
	d.do("run", "trim", good.ID, "--undo")
	if out := d.do("run", "history", good.ID); !strings.Contains(words(out), "trimming taken back by "+typist()) {
		t.Error(out)
	}
	if back := d.shown(good.ID); *back.PackageW != *good.PackageW || *back.SystemW != *good.SystemW || *back.DurationS != *good.DurationS {
		t.Errorf("taken back: %+v, want %+v", back, good)
	}
}

// What is no idle tail is not found to be one.
func TestNoIdleTail(t *testing.T) {
	alone(t)
	for name, c := range map[string]struct {
		setting    string
		load, idle time.Duration
	}{
		"idle throughout":      {"20W", 0, 40 * time.Second},
		"stopped in time":      {"8W", 40 * time.Second, 0},
		"some seconds to type": {"20W", 40 * time.Second, 4 * time.Second},
	} {
		d := newTestDay(t)
		if r := d.shown(d.recordTail(c.setting, c.load, c.idle)); r.HasFinding(run.IdleTail) {
			t.Errorf("%s: %+v", name, r.Findings)
		}
	}
	d := newTestDay(t)
	if r := d.shown(d.recordTail("8W", 40*time.Second, 20*time.Second)); !r.TailUndecided() {
		t.Errorf("at 8 W: %+v", r.Findings)
	}
	const load, pause = 15 * time.Second, 12 * time.Second // loading screens
	if r := d.shown(d.recordPhases("20W", load, pause, load, pause, load, pause)); r.HasFinding(run.IdleTail) {
		t.Errorf("with pauses: %+v", r.Findings)
	}
}

// What a meter saw is cut with the rest, whichever comes first.
func TestTrimWithMeter(t *testing.T) {
	d := charged(t)
	m := &simdevice.Meter{Device: d.bench.Device, NoiseW: 0.3, Seed: 5}
	id, _ := d.metered(m)
	file := d.write("bench.csv", m.Log())
	d.meter(id, file)
	whole := d.shown(id)
	d.do("run", "trim", id, "--end", "25s")
	cut := d.shown(id)
	if cut.SystemW == nil || cut.SystemWSource != run.FromExternal || *cut.SystemW < *whole.SystemW {
		t.Errorf("trimmed: %v W (%s), all %v W", cut.SystemW, cut.SystemWSource, *whole.SystemW)
	}
	d.meter(id, file, "--replace")
	if again := d.shown(id); again.SystemW == nil || math.Abs(*again.SystemW / *cut.SystemW - 1) > 1e-5 || *again.DurationS != 25 {
		t.Errorf("joined after it was trimmed: %v W over %v s, before %v W", *again.SystemW, *again.DurationS, *cut.SystemW)
	}
	d.do("run", "trim", id, "--undo")
	if back := d.shown(id); math.Abs(*back.SystemW / *whole.SystemW - 1) > 1e-5 || *back.DurationS != *whole.DurationS || back.SystemWSource != run.FromExternal {
		t.Errorf("taken back: %v W (%s), before %v W", *back.SystemW, back.SystemWSource, *whole.SystemW)
	}
}
