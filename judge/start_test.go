package judge

import (
	"math"
	"strings"
	"testing"
	"time"

	"sweepd/internal/scripted"
	"sweepd/run"
)

var twoTemperatures = []run.Sensor{{ID: run.Temperature, Instance: "package"}, {ID: run.Temperature, Instance: "skin"}}

// idle is a baseline of idle sweeps 10 s apart, the first at begin, that show f.
func idle(n int, begin time.Duration, f func(i int) []float64) *Baseline {
	b, index := &Baseline{}, NewSensorIndex(twoTemperatures)
	for i := range n {
		b.Observe(&index, f(i), begin+time.Duration(i)*10*time.Second)
	}
	return b
}

func wantBaseline(t *testing.T, what string, got, want float64) {
	t.Helper()
	if got != want && !(math.IsNaN(got) && math.IsNaN(want)) {
		t.Errorf("%s: baseline %v °C, want %v", what, got, want)
	}
}

// A fifth of the idle sweeps lie below the baseline: of 40 to 50 °C it is 42.
func TestBaselineIsAFifth(t *testing.T) {
	rising := func(i int) []float64 { return []float64{40 + float64(i*7%11), nan} }
	// The first six are 40, 47, 43, 50, 46, 42: a fifth of the way up is the second.
	for n, want := range map[int]float64{5: nan, 6: 42, 11: 42} {
		wantBaseline(t, "sweeps", idle(n, 0, rising).of("package", time.Hour), want)
	}
	b := idle(11, 0, rising)
	wantBaseline(t, "a sensor that is always missing", b.of("skin", time.Hour), nan)
	wantBaseline(t, "a sensor that is not there", b.of("nvme", time.Hour), nan)
}

// Sweeps count for eight hours, and the latest two hours of them.
func TestBaselineForgets(t *testing.T) {
	steps := func(i int) []float64 {
		if i < 30 {
			return []float64{30, 30}
		}
		return []float64{50, nan}
	}
	b := idle(60, 0, steps)
	wantBaseline(t, "all count", b.of("package", 8*time.Hour), 30)
	wantBaseline(t, "half are too old", b.of("package", 8*time.Hour+295*time.Second), 50)
	wantBaseline(t, "all are too old", b.of("package", 9*time.Hour), nan)
	wantBaseline(t, "750 sweeps", idle(30+baselineSize, 0, steps).of("package", 3*time.Hour), 50)
	wantBaseline(t, "749 sweeps", idle(30+baselineSize-150, 0, steps).of("package", 3*time.Hour), 50)
	wantBaseline(t, "100 sweeps", idle(100, 0, steps).of("package", 3*time.Hour), 30)
	wantBaseline(t, "overwritten by missing ones", idle(30+baselineSize, 0, steps).of("skin", 3*time.Hour), nan)
}

// Whoever only looks does not make a hot device seem idle.
func TestLooksAreNoIdle(t *testing.T) {
	b := idle(6, 0, func(int) []float64 { return []float64{40, nan} })
	index := NewSensorIndex(twoTemperatures)
	if !b.Learnt() || idle(5, 0, func(int) []float64 { return []float64{40, nan} }).Learnt() {
		t.Error("six idle sweeps are enough, and five are not")
	}
	for i := range 300 {
		b.Look(&index, []float64{60, nan}, time.Minute+2*time.Duration(i)*time.Second)
	}
	wantBaseline(t, "looked at", b.of("package", 12*time.Minute), 40)
}

// A later baseline goes on from an earlier one, also where it is full.
func TestBaselineGoesOn(t *testing.T) {
	at := func(x float64) func(int) []float64 { return func(int) []float64 { return []float64{x, nan} } }
	earlier := idle(30, 0, at(30))
	earlier.Append(idle(30, 300*time.Second, func(int) []float64 { return []float64{50, 35} }))
	wantBaseline(t, "both", earlier.of("package", time.Hour), 30)
	wantBaseline(t, "a sensor that came later", earlier.of("skin", time.Hour), 35)
	wantBaseline(t, "the earlier are too old", earlier.of("package", 8*time.Hour+295*time.Second), 50)
	full := idle(30, 0, at(30))
	full.Append(idle(2*baselineSize+7, 300*time.Second, at(50)))
	wantBaseline(t, "a full one", full.of("package", 5*time.Hour), 50)
	if full.n != 30+baselineSize {
		t.Errorf("%d sweeps were taken over, want %d", full.n-30, baselineSize)
	}
}

// fit is a moment on battery at which nothing is to be doubted.
func fit() *Moment {
	index := NewSensorIndex(scripted.Sensors)
	x := scripted.OnBattery(0)
	x.Celsius = 45
	m := &Moment{Index: &index, Boot: time.Hour, Setting: watts(15), Read: run.Watts(15).From(run.Firmware), Baseline: &Baseline{}}
	for i := range 10 {
		m.Baseline.Observe(&index, x.Values(), time.Duration(i)*time.Minute)
	}
	m.Values = x.Values()
	return m
}

// What a start is doubted for, each alone, at its default threshold and just below.
func TestStartFindings(t *testing.T) {
	const charge, celsius, busy, profile = 8, 9, 12, 7 // places in scripted.Sensors
	set := func(place int, x float64) func(*Moment) { return func(m *Moment) { m.Values[place] = x } }
	for _, c := range []struct {
		name   string
		change func(*Moment)
		want   run.Code
		says   string
	}{
		{"fit", func(*Moment) {}, "", ""},
		{"warm", set(celsius, 55), "", ""},
		{"hot", set(celsius, 55.5), run.HotStart, "package was at 55.5 °C at the start, 10.5 K above its idle baseline (allowed: 10)"},
		{"no baseline", func(m *Moment) { m.Baseline = &Baseline{}; m.Values[celsius] = 90 }, "", ""},
		{"a little busy", set(busy, 0.3), "", ""},
		{"busy", set(busy, 0.31), run.BusyStart, "the processor was 31 % busy before the start (allowed: 30 %)"},
		{"low", set(charge, 0.1), "", ""},
		{"near empty", set(charge, 0.09), run.BatteryReserve, "the battery was at 9 % at the start (reserve: 10 %)"},
		{"near empty on mains", func(m *Moment) { m.Values[charge], m.Values[0] = 0.09, 1 }, "", ""},
		{"declared otherwise", func(m *Moment) { m.Setting = watts(25) }, run.SettingDisagrees, "25W was declared, but the system reports 15W (firmware)"},
		{"profile declared otherwise", func(m *Moment) { m.Setting = run.Named("quiet").From(run.Declared) }, run.SettingDisagrees, "the platform profile is balanced"},
		{"no setting", func(m *Moment) { m.Setting = run.SourcedSetting{} }, run.SettingUnknown, "no setting was declared, and the system reports none"},
		{"declared before a restart", func(m *Moment) { m.declared(run.Watts(15)); m.Read = run.SourcedSetting{} }, run.SettingUnknown,
			"15W was declared at 2026-05-01T12:00:00.000Z, the machine was started anew since, and nothing tells whether it kept the setting"},
		{"declared before a restart, a profile is read", func(m *Moment) { m.declared(run.Watts(15)); m.Read = run.Named("balanced").From(run.Profile) }, run.SettingUnknown, "started anew"},
		{"declared before a restart, as read", func(m *Moment) { m.declared(run.Watts(15)) }, "", ""},
		{"declared before a restart, and another is read", func(m *Moment) { m.declared(run.Watts(25)) }, run.SettingDisagrees, "25W was declared, but the system reports 15W"},
		{"a profile declared before a restart", func(m *Moment) { m.declared(run.Named("balanced")); m.Values[profile] = 3 }, "", ""},
		{"taken back", func(m *Moment) { m.declared(run.Watts(15)); m.Setting = run.Watts(15).From(run.Firmware) }, "", ""},
		{"as busy as usual", func(m *Moment) { m.UsualLoad = 0.45; m.Values[busy] = 0.6 }, "", ""},
		{"busier than usual", func(m *Moment) { m.UsualLoad = 0.45; m.Values[busy] = 0.61 }, run.BusyStart,
			"the processor was 61 % busy before the start (allowed: 60 %, since 45 % is usual at its starts)"},
		{"usually idle", func(m *Moment) { m.UsualLoad = 0.02; m.Values[busy] = 0.31 }, run.BusyStart, "31 % busy before the start (allowed: 30 %)"},
		{"nothing is usual", func(m *Moment) { m.UsualLoad = nan; m.Values[busy] = 0.31 }, run.BusyStart, "31 % busy before the start (allowed: 30 %)"},
		{"profile as declared", func(m *Moment) { m.Setting = run.Named("balanced").From(run.Declared); m.Values[profile] = 3 }, "", ""},
	} {
		m := fit()
		c.change(m)
		found := m.StartFindings()
		if c.want == "" && len(found) > 0 || c.want != "" && (len(found) != 1 || found[0].Code != c.want || found[0].Severity != run.SeverityDoubt || !strings.Contains(found[0].Text, c.says)) {
			t.Errorf("%s: %+v, want %q saying %q", c.name, found, c.want, c.says)
		}
	}
	m := fit()
	m.Values[celsius], m.Thresholds.HotStart = 55.5, 11
	if found := m.StartFindings(); len(found) != 0 {
		t.Errorf("11 K are allowed: %v", found)
	}
}

// The warmest is what lies furthest above its own baseline.
func TestTheWarmestCounts(t *testing.T) {
	index := NewSensorIndex(append([]run.Sensor{{ID: run.Temperature}}, twoTemperatures...))
	setting := watts(15)
	b := &Baseline{}
	for i := range 10 {
		b.Observe(&index, []float64{30, 60, 35}, time.Duration(i)*time.Minute)
	}
	for _, c := range []struct {
		values []float64
		says   string
	}{
		{[]float64{41, 80, 50}, "package was at 80.0 °C at the start, 20.0 K above"},
		{[]float64{41, 65, 50}, "skin was at 50.0 °C at the start, 15.0 K above"},
		{[]float64{52, nan, 50}, "the temperature was at 52.0 °C at the start, 22.0 K above"},
	} {
		m := &Moment{Index: &index, Values: c.values, Boot: time.Hour, Baseline: b, Setting: setting}
		found := m.StartFindings()
		if len(found) != 1 || !strings.Contains(found[0].Text, c.says) {
			t.Errorf("%v: %v, want %q", c.values, found, c.says)
		}
		if r := m.Readiness(run.Want{}); r.Fit || r.Celsius == nil || r.AboveBaseline == nil || *r.AboveBaseline < 15 {
			t.Errorf("%v: readiness %+v", c.values, r)
		}
	}
}

// declared puts a setting in force that was declared before the machine was started anew.
func (m *Moment) declared(s run.Setting) {
	m.Setting = s.From(run.Declared)
	m.Declared = run.Declaration{Setting: s, At: run.Stamp(time.Date(2026, 5, 1, 12, 0, 0, 0, time.UTC)), By: "sweepd setting", Restarted: true}
}

// The load at which runs usually start is the middle one of the earlier starts that
// count, the lower of the two where there is no middle.
func TestUsualLoad(t *testing.T) {
	started := func(state run.State, sensor string, first *float64) run.Record {
		return run.Record{Run: run.Run{State: state}, Summaries: []run.Summary{{Sensor: run.Temperature, First: new(50.0)}, {Sensor: sensor, First: first}}}
	}
	busy := func(x float64) run.Record { return started(run.Finished, run.CPUBusy, &x) }
	for _, c := range []struct {
		earlier []run.Record
		want    float64
	}{
		{nil, nan},
		{[]run.Record{started(run.Rejected, run.CPUBusy, new(0.5)), started(run.Finished, run.CPUBusy, nil), started(run.Finished, run.GPUPower, new(0.5))}, nan},
		{[]run.Record{busy(0.4)}, 0.4},
		{[]run.Record{busy(0.4), busy(0.9)}, 0.4},
		{[]run.Record{busy(0.9), busy(0.42), busy(0.4)}, 0.42},
		{[]run.Record{busy(0.9), busy(0.01), started(run.Rejected, run.CPUBusy, new(0.95)), busy(0.02), busy(0.03)}, 0.02},
	} {
		if got := UsualLoad(c.earlier); got != c.want && !(math.IsNaN(got) && math.IsNaN(c.want)) {
			t.Errorf("%d starts: %v, want %v", len(c.earlier), got, c.want)
		}
	}
}
