package exporter

import (
	"context"
	"fmt"
	"math"
	"os"
	"strings"
	"testing"
	"time"

	"go.uber.org/zap"
	"gonum.org/v1/gonum/stat"

	"sweepd/analysis"
	"sweepd/collectors"
	"sweepd/internal/simdevice"
	"sweepd/internal/simlab"
	"sweepd/run"
	"sweepd/store"
	"sweepd/store/sqlite"
)

// testDay is a simulated test day that a Prometheus scrapes every five seconds.
type testDay struct {
	t        *testing.T
	bench    *simlab.Bench
	store    *sqlite.Store
	metrics  *Metrics
	scraped  scraped
	next     time.Time // of the next scrape
	finished []run.Record
	drained  float64 // that left the battery during runs, J, as the model knows it
}

func newTestDay(t *testing.T) *testDay {
	t.Helper()
	dir, err := simdevice.MakeTempDir("exporter-test")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = os.RemoveAll(dir) })
	d := &testDay{t: t, store: storeOf(t),
		scraped: scraped{target: []string{"job", "sweepd", "instance", "unit-elm:9745"}, series: map[string]*scrapedSeries{}},
		// Scrapes and sweeps keep different time.
		next: day.Add(3130 * time.Millisecond)}
	cfg := simdevice.UnitElm()
	cfg.StartOnMains = true
	d.bench, err = simlab.New(dir, cfg, simlab.Options{Recorder: d.store, Start: day, Seed: 7,
		Collectors: func(r collectors.Roots) []collectors.Collector {
			return []collectors.Collector{collectors.NewPowerSupply(r), collectors.NewPowercap(r), collectors.NewFirmwareAttributes(r), collectors.NewThermal(r)}
		}})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := d.bench.Close(); err != nil {
			t.Error(err)
		}
	})
	d.metrics = New(d.bench.Agent, d.bench.Set.Health, Build{})
	d.bench.Agent.Subscribe(d.follow)
	return d
}

func (d *testDay) follow(e run.Event) {
	if e.Kind != run.RunEnded {
		return
	}
	if err := d.metrics.CompareSupplies(context.Background(), d.store, e.Run, zap.NewNop()); err != nil {
		d.t.Error(err)
	}
	r, err := d.store.Run(context.Background(), e.Run.ID)
	if err != nil {
		d.t.Error(err)
	}
	d.finished = append(d.finished, r)
}

// pass lets time go by, with its scrapes.
func (d *testDay) pass(span time.Duration) {
	for end := d.bench.Now().Add(span); d.bench.Now().Before(end); {
		step := min(end.Sub(d.bench.Now()), d.next.Sub(d.bench.Now()))
		if err := d.bench.Pass(step); err != nil {
			d.t.Fatal(err)
		}
		if !d.bench.Now().Before(d.next) {
			d.scraped.scrape(d.t, d.metrics.Gatherer(), d.next)
			d.next = d.next.Add(5 * time.Second)
		}
	}
}

// run plays harbour-flight for two minutes at a setting.
func (d *testDay) run(w float64) {
	d.bench.Device.SetLimit(w)
	d.pass(140 * time.Second) // to cool down
	flight := simdevice.HarbourFlight()
	if _, err := d.bench.Start(run.Start{Workload: flight.Name, Setting: run.Watts(w)}); err != nil {
		d.t.Fatal(err)
	}
	before := d.bench.Device.Truth().DischargedJ
	d.bench.Device.StartWorkload(flight)
	d.pass(2 * time.Minute)
	d.drained += d.bench.Device.Truth().DischargedJ - before
	played, _ := d.bench.Device.StopWorkload()
	results := map[string]run.Result{played.Metric: {Value: played.Value, Unit: played.Unit, Better: run.Higher}}
	if _, err := d.bench.Stop(run.Stop{Results: results}); err != nil {
		d.t.Fatal(err)
	}
}

// Each query that the documentation shows gives, on a simulated test day, the
// answer that the agent's own records give.
func TestShownQueries(t *testing.T) {
	t.Parallel()
	p := startPrometheus(t, "global: {}\n", "--web.enable-remote-write-receiver")
	d := newTestDay(t)
	d.bench.Device.SetCharge(1)
	for _, plug := range []func(){d.bench.Device.Plug, d.bench.Device.Unplug} {
		plug()
		d.pass(10 * time.Second)
		for range 2 {
			for _, w := range []float64{8, 15, 36} {
				d.run(w)
			}
		}
	}
	d.pass(20 * time.Second)
	d.scraped.write(t, p)
	now := d.bench.Now()

	checks := map[string]func(*testing.T, []series){
		"What did the package draw in each cell?":  d.checkPackagePower,
		"What does running on battery change?":     d.checkSupplyEffect,
		"What did the runs take from the battery?": d.checkDrain,
		"How hot did each setting get?":            d.checkHeat,
	}
	for _, q := range shownQueries(t, queriesFile) {
		t.Run(q.heading, func(t *testing.T) {
			check := checks[q.heading]
			if check == nil {
				t.Fatalf("nobody knows the answer to\n%s", q.text)
			}
			delete(checks, q.heading)
			answer := p.query(t, q.text, now)
			if len(answer) == 0 {
				t.Fatalf("no answer to\n%s", q.text)
			}
			check(t, answer)
		})
	}
	for heading := range checks {
		t.Errorf("%s has no query under %q", queriesFile, heading)
	}
}

// cellName names a cell by what differs in this day.
func cellName(setting, supply string) string { return setting + " on " + supply }

func (d *testDay) checkPackagePower(t *testing.T, answer []series) {
	want := map[string][]float64{}
	for _, r := range d.finished {
		name := cellName(r.Setting.String(), string(r.Supply))
		want[name] = append(want[name], *r.PackageW)
	}
	if len(answer) != 6 || len(want) != 6 {
		t.Errorf("%d cells in Prometheus, %d in the store, want 6", len(answer), len(want))
	}
	for _, s := range answer {
		name, got := cellName(s.labels["setting"], s.labels["supply"]), s.points[0].value
		own := stat.Mean(want[name], nil)
		t.Logf("%s: %.3f W, by the agent %.3f W: %+.2f %%", name, got, own, 100*(got/own-1))
		if !(math.Abs(got/own-1) <= 0.01) || s.labels["workload"] != "harbour-flight" || s.labels["device"] != "unit-elm" {
			t.Errorf("%s: %v W, by the agent's records %v W; labels %v", name, got, own, s.labels)
		}
	}
}

// The device loses up to 5 % above 18 W of package power on battery, and nothing
// below.
func (d *testDay) checkSupplyEffect(t *testing.T, answer []series) {
	runs, _, err := d.store.AnalysisRuns(context.Background(), store.Filter{})
	if err != nil {
		t.Fatal(err)
	}
	found, err := analysis.Compare(runs, analysis.CompareRequest{By: "supply"})
	if err != nil {
		t.Fatal(err)
	}
	want := map[string]float64{}
	for _, s := range found.Comparisons[0].Settings {
		if s.Upper < 0 {
			want[fmt.Sprintf("%gW", float64(s.SettingW))] = 1 + float64(s.Diff)
		}
	}
	if _, there := want["36W"]; len(want) != 1 || !there {
		t.Errorf("compare finds battery behind at %v, the model at 36W", want)
	}
	if len(answer) != len(want) {
		t.Errorf("%d answers, want %v", len(answer), want)
	}
	for _, s := range answer {
		t.Logf("%s: %.4f", s.labels["setting"], s.points[0].value)
		if s.points[0].value != want[s.labels["setting"]] {
			t.Errorf("%v: %v, compare says %v", s.labels, s.points[0].value, want)
		}
	}
}

func (d *testDay) checkDrain(t *testing.T, answer []series) {
	if len(answer) != 1 || answer[0].labels["workload"] != "harbour-flight" || answer[0].labels["device"] != "unit-elm" {
		t.Fatalf("answer %v, want one for the workload", answer)
	}
	got, want := answer[0].points[0].value, d.drained/3600
	t.Logf("%.3f Wh, truly %.3f Wh: %+.2f %%", got, want, 100*(got/want-1))
	if !(math.Abs(got/want-1) <= 0.02) {
		t.Errorf("%v Wh, the model knows %v Wh", got, want)
	}
}

func (d *testDay) checkHeat(t *testing.T, answer []series) {
	peaks := map[string]float64{} // seen by the agent's own sweeps
	for _, r := range d.finished {
		for _, x := range r.Summaries {
			if x.Sensor == run.Temperature {
				name := strings.Join([]string{r.Setting.String(), string(r.Supply), x.Instance}, " ")
				peaks[name] = max(peaks[name], *x.Max)
			}
		}
	}
	if len(answer) != len(peaks) {
		t.Errorf("%d answers, want %d", len(answer), len(peaks))
	}
	for _, s := range answer {
		name := strings.Join([]string{s.labels["setting"], s.labels["supply"], s.labels["sensor"]}, " ")
		got, peak := s.points[0].value, peaks[name]
		t.Logf("%s: %.1f degrees, peak %.1f", name, got, peak)
		if !(got <= peak && got >= peak-2) {
			t.Errorf("%s: %v degrees, the agent saw a peak of %v", name, got, peak)
		}
	}
}
