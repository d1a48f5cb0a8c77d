package exporter

import (
	"math"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"sweepd/agent"
	"sweepd/run"
)

// subject is an agent with its metrics that a test leads through a day. The device
// begins on mains.
type subject interface {
	metrics() *Metrics
	snapshot() agent.Snapshot
	pass(time.Duration)
	unplug()
	pullBattery()
	insertBattery()
	start(run.Start)
	stop() run.Record // without a result
}

// subjects make the fake and, where a device can be simulated, the real agent: what
// holds for one has to hold for the other.
var subjects = map[string]func(*testing.T) subject{"fake": newFakeAgent}

// fakeAgent is as little of an agent as can be exposed: it draws 10 W in the package,
// and 16 W from the battery where that feeds it.
type fakeAgent struct {
	still
	m         *Metrics
	onBattery bool
	pulled    bool
	runs      int
	until     map[run.Labels]time.Duration // of the energies
}

func newFakeAgent(*testing.T) subject {
	f := &fakeAgent{still: still{shown: agent.Snapshot{Live: run.Live{DischargeWatts: math.NaN(), ChargeRatio: math.NaN(), Now: run.Instant{Mono: time.Hour},
		Current: run.Labels{Device: "unit-elm"}}}}, until: map[run.Labels]time.Duration{}}
	f.m = New(f, nil, Build{})
	return f
}

func (f *fakeAgent) metrics() *Metrics        { return f.m }
func (f *fakeAgent) snapshot() agent.Snapshot { return f.shown }
func (f *fakeAgent) unplug()                  { f.onBattery = true }
func (f *fakeAgent) pullBattery()             { f.pulled = true }
func (f *fakeAgent) insertBattery()           { f.pulled = false }

// Snapshot copies what may change later.
func (f *fakeAgent) Snapshot(dst *agent.Snapshot) {
	*dst = f.shown
	dst.Energies = slices.Clone(f.shown.Energies)
}

func (f *fakeAgent) pass(d time.Duration) {
	s := &f.shown
	s.Now.Mono += d
	s.At = s.Now
	s.Sweeps += uint64(d / (250 * time.Millisecond))
	s.SweepSeconds += d.Seconds() / 1000
	s.Sensors = []run.Sensor{{ID: run.Temperature, Instance: "package"}, {ID: run.BatteryPower, Instance: "BAT0"}}
	s.Current.Supply = run.Mains
	s.DischargeWatts, s.ChargeRatio = 0, 0.8
	if f.onBattery {
		s.Current.Supply, s.DischargeWatts = run.Battery, 16
	}
	if f.pulled {
		s.DischargeWatts, s.ChargeRatio = math.NaN(), math.NaN()
	}
	s.Values = []float64{50, s.DischargeWatts}
	s.Power = [4]float64{10, math.NaN(), math.NaN(), s.DischargeWatts}
	f.count(d)
}

// count adds what was drawn under the labels in force, and forgets labels that went
// out of force five minutes ago.
func (f *fakeAgent) count(d time.Duration) {
	s := &f.shown
	i := slices.IndexFunc(s.Energies, func(e agent.LabelledEnergy) bool { return e.Labels == s.Current })
	if i < 0 {
		i = len(s.Energies)
		s.Energies = append(s.Energies, agent.LabelledEnergy{Labels: s.Current})
	}
	e := &s.Energies[i]
	for domain, w := range s.Power {
		if !math.IsNaN(w) {
			e.Known[domain] = true
			e.Joules[domain] += w * d.Seconds()
		}
	}
	f.until[s.Current] = s.Now.Mono
	s.Energies = slices.DeleteFunc(s.Energies, func(e agent.LabelledEnergy) bool { return s.Now.Mono-f.until[e.Labels] > 5*time.Minute })
}

func (f *fakeAgent) start(s run.Start) {
	f.runs++
	f.shown.Current.Workload, f.shown.Current.Setting, f.shown.Current.Variant = s.Workload, s.Setting.From(run.Declared), s.Variant
	f.pass(250 * time.Millisecond)
	f.shown.Recording = &run.Run{ID: "run-" + strconv.Itoa(f.runs), Labels: f.shown.Current}
}

func (f *fakeAgent) stop() run.Record {
	d := run.Record{Run: *f.shown.Recording}
	d.Findings = []run.Finding{{Code: run.ResultMissing, Severity: run.SeverityDoubt}}
	f.shown.Recording = nil
	f.shown.Current.Workload, f.shown.Current.Variant = "", ""
	f.publish(run.RunEnded, d.Run)
	f.m.events.Flush()
	f.pass(250 * time.Millisecond)
	return d
}

// walk leads a subject and looks after each step at all that is exposed.
type walk struct {
	t *testing.T
	subject
	ended  []finishedRun
	before map[string]float64
}

// samples are what is exposed, by name and labels, without what the agent itself costs.
func (w *walk) samples() map[string]float64 {
	w.t.Helper()
	families, err := w.metrics().Gatherer().Gather()
	if err != nil {
		w.t.Fatal(err)
	}
	all := map[string]float64{}
	for _, f := range families {
		name := f.GetName()
		if strings.HasPrefix(name, "sweepd_agent_") || strings.HasPrefix(name, "sweepd_collector_") || name == "sweepd_build_info" {
			continue
		}
		for _, m := range f.GetMetric() {
			key := name
			for _, l := range m.GetLabel() {
				key += " " + l.GetName() + "=" + l.GetValue()
			}
			if s := m.GetSummary(); s != nil {
				all[key+" count"], all[key+" sum"] = float64(s.GetSampleCount()), s.GetSampleSum()
				continue
			}
			all[key] = m.GetGauge().GetValue() + m.GetCounter().GetValue()
		}
	}
	return all
}

// wanted is what the design's list of metrics says of a snapshot and of the runs that
// ended in the last five minutes.
func (w *walk) wanted() map[string]float64 {
	s := w.snapshot()
	all := map[string]float64{"sweepd_sweep_duration_seconds count": float64(s.Sweeps), "sweepd_sweep_duration_seconds sum": s.SweepSeconds}
	// The labels of a sample in the order of the alphabet, as they are exposed.
	add := func(name string, l run.Labels, x float64, more ...string) {
		if math.IsNaN(x) {
			return
		}
		labels := append([]string{"device=" + l.Device, "workload=" + l.Workload, "setting=" + l.Setting.String(), "supply=" + string(l.Supply), "variant=" + string(l.Variant)}, more...)
		slices.Sort(labels)
		all[name+" "+strings.Join(labels, " ")] += x
	}
	if s.Sweeps > 0 {
		add("sweepd_battery_discharge_watts", s.Current, s.DischargeWatts)
		add("sweepd_battery_charge_ratio", s.Current, s.ChargeRatio)
		switch s.Current.Supply {
		case run.Mains:
			add("sweepd_supply_online", s.Current, 1)
		case run.Battery:
			add("sweepd_supply_online", s.Current, 0)
		}
		for i, sensor := range s.Sensors {
			if sensor.ID == run.Temperature {
				add("sweepd_temperature_celsius", s.Current, s.Values[i], "sensor="+sensor.Instance)
			}
		}
		for domain, name := range []string{"package", "core", "gpu", "battery"} {
			add("sweepd_power_watts", s.Current, s.Power[domain], "domain="+name)
		}
		if watts, inWatts := s.Current.Setting.Watts(); inWatts {
			add("sweepd_power_setting_watts", s.Current, watts)
		}
		recording := 0.0
		if s.Recording != nil {
			recording = 1
		}
		add("sweepd_run_active", s.Current, recording)
	}
	for _, e := range s.Energies {
		for domain, name := range []string{"package", "core", "gpu", "battery"} {
			if e.Known[domain] {
				add("sweepd_energy_joules_total", e.Labels, e.Joules[domain], "domain="+name)
			}
		}
	}
	if s.Recording != nil {
		add("sweepd_run_info", s.Recording.Labels, 1, "run="+s.Recording.ID)
	}
	for _, e := range w.ended {
		if s.Now.Mono > e.until {
			continue
		}
		add("sweepd_run_info", e.run.Labels, 1, "run="+e.run.ID)
		for _, f := range e.run.Findings {
			add("sweepd_run_findings", e.run.Labels, 1, "code="+string(f.Code), "severity="+string(f.Severity))
		}
	}
	return all
}

// look compares what is exposed with what the agent knows, and holds counters to
// what they were. It gives the samples of the families named.
func (w *walk) look(step string, families ...string) map[string]float64 {
	w.t.Helper()
	got := w.samples()
	if diff := cmp.Diff(w.wanted(), got); diff != "" {
		w.t.Errorf("%s: exposed is not what the agent knows (-want +got):\n%s", step, diff)
	}
	chosen := map[string]float64{}
	for key, x := range got {
		name, _, _ := strings.Cut(key, " ")
		if was, there := w.before[key]; there && strings.HasSuffix(name, "_total") && x < was {
			w.t.Errorf("%s: the counter %s fell from %v to %v", step, key, was, x)
		}
		if slices.Contains(families, name) {
			chosen[key] = x
		}
		if w.before == nil {
			w.before = map[string]float64{}
		}
		w.before[key] = x
	}
	return chosen
}

func (w *walk) end() run.Record {
	d := w.stop()
	w.ended = append(w.ended, finishedRun{d.Run, w.snapshot().Now.Mono + 5*time.Minute})
	return d
}

// A test day in small, looked at from Prometheus' side: on mains, without a battery,
// a run on battery, its end, six minutes later, the same again.
func TestExposedIsWhatTheAgentKnows(t *testing.T) {
	for name, newSubject := range subjects {
		t.Run(name, func(t *testing.T) {
			w := &walk{t: t, subject: newSubject(t)}
			want := func(step string, n int, families ...string) map[string]float64 {
				t.Helper()
				got := w.look(step, families...)
				if len(got) != n {
					t.Errorf("%s: %d series of %v, want %d: %v", step, len(got), families, n, got)
				}
				return got
			}
			const discharge, charge, active, info, findings = "sweepd_battery_discharge_watts", "sweepd_battery_charge_ratio", "sweepd_run_active", "sweepd_run_info", "sweepd_run_findings"
			all := []string{discharge, charge, active, info, findings, "sweepd_supply_online", "sweepd_temperature_celsius", "sweepd_power_watts", "sweepd_power_setting_watts", "sweepd_energy_joules_total"}
			want("before the first sweep", 0, all...)

			w.pass(30 * time.Second)
			want("on mains", 4, discharge, charge, active, "sweepd_supply_online")
			w.pullBattery()
			w.pass(30 * time.Second)
			want("the battery is pulled", 0, discharge, charge)
			w.insertBattery()
			w.pass(2 * time.Minute)
			want("the battery is back", 2, discharge, charge)

			w.unplug()
			w.pass(20 * time.Second)
			flight := run.Start{Workload: "harbour-flight", Setting: run.Watts(15), Variant: "cores=6"}
			w.start(flight)
			w.pass(30 * time.Second)
			for key, x := range want("a run on battery", 2, active, discharge) {
				if !strings.HasSuffix(key, " device=unit-elm setting=15W supply=battery variant=cores=6 workload=harbour-flight") || x <= 0 {
					t.Errorf("while the run records: %s %v", key, x)
				}
			}
			want("a run on battery", 1, info)
			first := w.end()
			for key, x := range want("it ended", 1, active) {
				if strings.Contains(key, "harbour-flight") || x != 0 {
					t.Errorf("after the run: %s %v", key, x)
				}
			}
			missing := false
			for key := range w.look("it ended", findings) {
				missing = missing || strings.Contains(key, " code=result_missing ") && strings.Contains(key, "workload=harbour-flight")
			}
			if !missing || len(w.look("it ended", info)) != 1 {
				t.Errorf("after a run without a result: %v", w.look("it ended", findings, info))
			}
			w.pass(4 * time.Minute)
			want("four minutes later", 1, info)
			w.pass(2 * time.Minute)
			want("six minutes later", 0, info, findings)
			for key := range w.look("six minutes later", "sweepd_energy_joules_total") {
				if strings.Contains(key, "harbour-flight") {
					t.Errorf("six minutes after the run its energy is exposed: %s", key)
				}
			}

			w.start(flight)
			w.pass(30 * time.Second)
			again := w.look("the same again", info)
			for key := range again {
				if strings.Contains(key, first.ID) {
					t.Errorf("the first run is exposed again: %s", key)
				}
			}
			w.end()
			want("it ended too", 1, info)
		})
	}
}
