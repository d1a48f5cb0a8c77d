package exporter

import (
	"context"
	"math"
	"net/http/httptest"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	promcollectors "github.com/prometheus/client_golang/prometheus/collectors"
	"go.uber.org/zap"

	"sweepd/agent"
	"sweepd/run"
)

// lines are the samples of a metric in the exposition.
func lines(t *testing.T, m *Metrics, name string) []string {
	t.Helper()
	var list []string
	for line := range strings.Lines(exposition(t, m)) {
		if strings.HasPrefix(line, name+"{") {
			list = append(list, strings.TrimSpace(line))
		}
	}
	return list
}

// A missing reading is not exposed, not even as its last value, and comes back.
func TestMissingReadingsAreAbsent(t *testing.T) {
	source, m := newStill(recordingSnapshot())
	for i, shown := range []float64{21.4, math.NaN(), 18} {
		source.shown.DischargeWatts, source.shown.Power[agent.DomainBattery], source.shown.Values[0] = shown, shown, shown
		known := 1
		if math.IsNaN(shown) {
			known = 0
		}
		for name, others := range map[string]int{"sweepd_battery_discharge_watts": 0, "sweepd_power_watts": 2, "sweepd_temperature_celsius": 0} {
			if n := len(lines(t, m, name)); n != known+others {
				t.Errorf("step %d: %d series of %s, want %d", i, n, name, known+others)
			}
		}
	}
	source.shown.Current.Supply = run.SupplyUnknown
	if got := lines(t, m, "sweepd_supply_online"); len(got) != 0 {
		t.Errorf("the supply is unknown, exposed is %v", got)
	}
}

// A sensor that comes later is exposed from then on.
func TestLateSensors(t *testing.T) {
	source, m := newStill(recordingSnapshot())
	before := len(lines(t, m, "sweepd_temperature_celsius"))
	source.shown.Sensors = append(source.shown.Sensors, run.Sensor{ID: run.Temperature})
	source.shown.Values = append(source.shown.Values, 40)
	got := lines(t, m, "sweepd_temperature_celsius")
	if len(got) != before+1 || !strings.Contains(strings.Join(got, "\n"), `sensor="`+onlyTemperature+`"`) {
		t.Errorf("after a sensor without a name came: %v", got)
	}
}

// The agent keeps the totals of a cell; measured again after its series was
// dropped, it counts on.
func TestEnergyCountsOn(t *testing.T) {
	source, m := newStill(recordingSnapshot())
	energies := source.shown.Energies
	exposition(t, m)
	source.shown.Energies = energies[1:]
	if got := lines(t, m, "sweepd_energy_joules_total"); len(got) != 3 {
		t.Errorf("five minutes after the run's end %v, want the three of the idle labels", got)
	}
	energies[0].Joules[agent.DomainPackage] = 1000.5
	source.shown.Energies = energies
	if got := strings.Join(lines(t, m, "sweepd_energy_joules_total"), "\n"); !strings.Contains(got, "} 1000.5") {
		t.Errorf("measured again:\n%s", got)
	}
}

// A scrape may fall between a run's first sweep and the moment that its labels
// are known.
func TestRunInfoFollowsTheRunsLabels(t *testing.T) {
	s := recordingSnapshot()
	known := s.Recording
	early := *known
	early.Setting, early.Supply = run.SourcedSetting{}, run.SupplyUnknown
	s.Recording = &early
	source, m := newStill(s)
	exposition(t, m)
	source.shown.Recording = known
	got := lines(t, m, "sweepd_run_info")
	if len(got) != 1 || !strings.Contains(got[0], `setting="12.5W",supply="battery"`) {
		t.Errorf("run info %v", got)
	}
}

// Findings of repeats add up; runs that nobody scraped are forgotten.
func TestFindingsOfRepeats(t *testing.T) {
	source, m := newStill(recordingSnapshot())
	for _, id := range []string{"one", "two"} {
		source.publish(run.RunEnded, run.Run{ID: id, Labels: source.shown.Current, Findings: []run.Finding{{Code: run.Throttled, Severity: run.SeverityNote}}})
	}
	if got := lines(t, m, "sweepd_run_findings"); len(got) != 1 || !strings.HasSuffix(got[0], "} 2") {
		t.Errorf("findings %v, want one series of 2", got)
	}
	if got := lines(t, m, "sweepd_run_info"); len(got) != 3 {
		t.Errorf("run info %v, want three", got)
	}
	for range 100 {
		source.shown.Now.Mono += time.Minute
		source.publish(run.RunEnded, run.Run{})
		m.events.Flush()
	}
	if len(m.finished) > 6 {
		t.Errorf("%d runs kept, want those of five minutes", len(m.finished))
	}
}

// What the system reports may be any bytes; the scrape goes on.
func TestTextThatIsNotUTF8(t *testing.T) {
	s := recordingSnapshot()
	s.Current.Setting = run.Named("qu\xffiet").From(run.Profile)
	s.Sensors[0].Instance = "pack\xffage"
	_, m := newStill(s)
	m.showEffects("", "", []Effect{{Device: "unit\xff", Ratio: 1}})
	if got := lines(t, m, "sweepd_temperature_celsius"); len(got) != 1 || !strings.Contains(got[0], "qu\uFFFDiet") {
		t.Errorf("temperatures %v", got)
	}
}

// Cells tell label sets apart exactly where their values do.
func TestCellsOfLabelSets(t *testing.T) {
	a := run.Labels{Device: "a", Workload: "b", Setting: watts(15), Supply: run.Mains, Variant: "cores=6,smt=off"}
	same := a
	same.Setting = run.Watts(15.004).From(run.Firmware)
	same.Variant = run.NewVariant(map[string]string{"smt": "off", "cores": "6"})
	if a.Cell() != same.Cell() {
		t.Error("equal labels have two cells")
	}
	for name, change := range map[string]func(*run.Labels){
		"device and workload": func(l *run.Labels) { l.Device, l.Workload = "ab", "" },
		"setting":             func(l *run.Labels) { l.Setting = watts(15.5) },
		"supply":              func(l *run.Labels) { l.Supply = run.Battery },
		"variant":             func(l *run.Labels) { l.Variant = "cores=6" },
		"variant's value":     func(l *run.Labels) { l.Variant = "cores=6,smt=on" },
	} {
		b := a
		change(&b)
		if a.Cell() == b.Cell() {
			t.Errorf("labels that differ in %s have one cell", name)
		}
	}
}

// A pedantic registry checks what is collected against what is described.
func TestPedanticRegistry(t *testing.T) {
	source, m := newStill(recordingSnapshot())
	m.showEffects("", "", []Effect{{Device: "unit-oak", Workload: "tile-sort", Setting: "15W", Result: "score", Ratio: 1, Lower: 0.9, Upper: 1.1}})
	r := prometheus.NewPedanticRegistry()
	r.MustRegister(m, newFootprint())
	for range 2 {
		if _, err := r.Gather(); err != nil {
			t.Error(err)
		}
		source.publish(run.RunEnded, *source.shown.Recording)
	}
}

// Scrapes, ends of runs and comparisons come at any time, from any goroutine.
func TestConcurrentUse(t *testing.T) {
	runs := referenceRuns()
	s := storeOf(t, runs...)
	source, m := newStill(recordingSnapshot())
	h := m.Handler()
	var all sync.WaitGroup
	for range 20 {
		all.Go(func() {
			w := httptest.NewRecorder()
			h.ServeHTTP(w, httptest.NewRequest("GET", "/metrics", nil))
			if w.Code != 200 {
				t.Errorf("status %d: %s", w.Code, w.Body)
			}
		})
		all.Go(func() { source.publish(run.RunEnded, runs[0].Run) })
		all.Go(func() {
			if err := m.CompareSupplies(context.Background(), s, runs[0].Run, zap.NewNop()); err != nil {
				t.Error(err)
			}
		})
	}
	all.Wait()
	if n := len(shownEffects(t, m)); n != 12 {
		t.Errorf("%d series of effects, want 12", n)
	}
}

// A scrape while effects are computed anew shows all of them, not the moment in
// which the old ones are gone.
func TestScrapesShowAllEffects(t *testing.T) {
	_, m := newStill(recordingSnapshot())
	effects := []Effect{{Device: "unit-oak", Workload: "tile-sort", Setting: "15W", Result: "score", Ratio: 1, Lower: 0.9, Upper: 1.1}}
	m.showEffects("", "", effects)
	done := make(chan struct{})
	go func() {
		defer close(done)
		for range 3000 {
			m.showEffects("unit-oak", "tile-sort", effects)
		}
	}()
	for over := false; !over; {
		select {
		case <-done:
			over = true
		default:
		}
		if n := len(shownEffects(t, m)); n != 3 {
			t.Errorf("%d series of effects, want 3", n)
			<-done
			return
		}
	}
}

// The agent's own figures are those of the library's process collector.
func TestFootprint(t *testing.T) {
	r := prometheus.NewPedanticRegistry()
	r.MustRegister(newFootprint(), promcollectors.NewProcessCollector(promcollectors.ProcessCollectorOpts{}))
	for range 300 { // enough to be seen in hundredths of a second
		if _, err := r.Gather(); err != nil {
			t.Fatal(err)
		}
	}
	families, err := r.Gather()
	if err != nil {
		t.Fatal(err)
	}
	got := map[string]float64{}
	for _, f := range families {
		m := f.GetMetric()[0]
		got[f.GetName()] = m.GetCounter().GetValue() + m.GetGauge().GetValue()
	}
	// The kernel counts /proc in hundredths of a second.
	if own, theirs := got["sweepd_agent_cpu_seconds_total"], got["process_cpu_seconds_total"]; own <= 0 || math.Abs(own-theirs) > 0.05+0.1*theirs {
		t.Errorf("processor time %v s, by the process collector %v s", own, theirs)
	}
	if own, theirs := got["sweepd_agent_resident_memory_bytes"], got["process_resident_memory_bytes"]; math.Abs(own/theirs-1) > 0.1 {
		t.Errorf("resident memory %v bytes, by the process collector %v bytes", own, theirs)
	}
}
