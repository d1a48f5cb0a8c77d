package exporter

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"go.uber.org/zap"
	"go.uber.org/zap/zaptest/observer"

	"sweepd/analysis"
	"sweepd/run"
	"sweepd/store"
	"sweepd/store/contract"
	"sweepd/store/sqlite"
)

var day = time.Date(2026, 5, 4, 9, 0, 0, 0, time.UTC)

// cellRuns are the runs of one cell. All of the day start together, so that no
// passes can be told apart.
func cellRuns(l run.Labels, result string, values ...float64) []run.Record {
	var list []run.Record
	for i, v := range values {
		d := run.Record{Run: run.Run{
			ID:     fmt.Sprintf("%s|%s|%s|%s|%s|%s|%d", l.Device, l.Workload, l.Setting, l.Supply, string(l.Variant), result, i),
			Labels: l, State: run.Finished, StartedAt: run.Stamp(day),
			Results: map[string]run.Result{result: {Value: v, Unit: "fps", Better: run.Higher}}, Findings: []run.Finding{}, Facts: map[string]string{},
		}, Summaries: []run.Summary{}}
		length := 60.0
		d.DurationS = &length
		list = append(list, d)
	}
	return list
}

func cell(w float64, supply run.Supply) run.Labels {
	return run.Labels{Device: "unit-oak", Workload: "harbour-flight", Setting: watts(w), Supply: supply, Variant: ""}
}

// referenceRuns are two groups whose comparison was computed with base R 4.2.2;
// the first is called battery here, the second mains.
func referenceRuns() []run.Record {
	return slices.Concat(
		cellRuns(cell(10, run.Battery), "fps_mean", 50, 50.2, 49.9),
		cellRuns(cell(15, run.Battery), "fps_mean", 60.3, 60, 60.1),
		cellRuns(cell(20, run.Battery), "fps_mean", 70, 70.1, 69.5),
		cellRuns(cell(30, run.Battery), "fps_mean", 80, 80.2, 79.9),
		cellRuns(cell(10, run.Mains), "fps_mean", 47, 47.3, 47.1),
		cellRuns(cell(15, run.Mains), "fps_mean", 59.9, 60.2, 60.1),
		cellRuns(cell(20, run.Mains), "fps_mean", 70.8, 70.5, 71.1),
		cellRuns(cell(30, run.Mains), "fps_mean", 84, 84.5, 84.2),
		cellRuns(cell(40, run.Mains), "fps_mean", 90, 90.2, 90.4),
	)
}

func storeOf(t *testing.T, runs ...run.Record) *sqlite.Store {
	t.Helper()
	s, err := sqlite.Open(t.TempDir(), sqlite.Options{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := s.Close(); err != nil {
			t.Error(err)
		}
	})
	if _, _, err := s.Import(context.Background(), "", contract.Sequence(runs...), nil); err != nil {
		t.Fatal(err)
	}
	return s
}

// compareSupplies computes the effects for a run and gives what the log said.
func compareSupplies(t *testing.T, m *Metrics, s *sqlite.Store, r run.Run) *observer.ObservedLogs {
	t.Helper()
	core, logs := observer.New(zap.InfoLevel)
	if err := m.CompareSupplies(context.Background(), s, r, zap.New(core)); err != nil {
		t.Fatal(err)
	}
	return logs
}

// shownEffects are the exposed effects: "workload variant setting result bound".
func shownEffects(t *testing.T, m *Metrics) map[string]float64 {
	t.Helper()
	families, err := m.Gatherer().Gather()
	if err != nil {
		t.Fatal(err)
	}
	shown := map[string]float64{}
	for _, f := range families {
		if f.GetName() != "sweepd_supply_effect_ratio" {
			continue
		}
		for _, s := range f.GetMetric() {
			l := map[string]string{}
			for _, p := range s.GetLabel() {
				l[p.GetName()] = p.GetValue()
			}
			shown[strings.Join([]string{l["device"], l["workload"], l["variant"], l["setting"], l["result"], l["bound"]}, " ")] = s.GetGauge().GetValue()
		}
	}
	return shown
}

// compared is what `compare --by supply` says, in the words of shownEffects.
func compared(t *testing.T, s *sqlite.Store, result string) map[string]float64 {
	t.Helper()
	runs, _, err := s.AnalysisRuns(context.Background(), store.Filter{})
	if err != nil {
		t.Fatal(err)
	}
	found, err := analysis.Compare(runs, analysis.CompareRequest{By: "supply", Metric: result})
	if err != nil {
		t.Fatal(err)
	}
	// By way of its JSON, which is the contract.
	text, err := json.Marshal(found)
	if err != nil {
		t.Fatal(err)
	}
	var table struct {
		Comparisons []struct {
			Metric, Workload, Device, Variant, A, B string
			Settings                                []struct {
				W                  *float64 `json:"setting_w"`
				Setting            string
				Diff, Lower, Upper *float64
			}
		}
	}
	if err := json.Unmarshal(text, &table); err != nil {
		t.Fatal(err)
	}
	want := map[string]float64{}
	for _, c := range table.Comparisons {
		if c.A != "battery" || c.B != "mains" {
			t.Errorf("compared %s with %s", c.A, c.B)
		}
		for _, s := range c.Settings {
			name := s.Setting
			if s.W != nil {
				name = fmt.Sprintf("%gW", *s.W)
			}
			for bound, v := range map[string]*float64{"estimate": s.Diff, "lower": s.Lower, "upper": s.Upper} {
				if v != nil {
					want[strings.Join([]string{c.Device, c.Workload, c.Variant, name, c.Metric, bound}, " ")] = 1 + *v
				}
			}
		}
	}
	return want
}

var closeTo = cmp.Comparer(func(a, b float64) bool { return math.Abs(a-b) <= 1e-9*math.Abs(b) })

// The reference numbers are exposed, and they are those of the table.
func TestSupplyEffectIsTheComparison(t *testing.T) {
	s := storeOf(t, referenceRuns()...)
	_, m := newStill(recordingSnapshot())
	compareSupplies(t, m, s, run.Run{})
	got := shownEffects(t, m)
	want := map[string]float64{}
	for setting, v := range map[string][3]float64{ // ln estimate, lower - 1, upper - 1: base R 4.2.2
		"10W": {0.05970937888, 0.05387047274, 0.06924116612},
		"15W": {0.001109269506, -0.006111804423, 0.008384047876},
		"20W": {-0.01327141956, -0.02030232226, -0.006013438563},
		"30W": {-0.05114575071, -0.05671383325, -0.04295601118},
	} {
		cell := "unit-oak harbour-flight  " + setting + " fps_mean "
		want[cell+"estimate"], want[cell+"lower"], want[cell+"upper"] = math.Exp(v[0]), 1+v[1], 1+v[2]
	}
	if diff := cmp.Diff(want, got, closeTo); diff != "" {
		t.Errorf("exposed against base R (-want +got):\n%s", diff)
	}
	if diff := cmp.Diff(compared(t, s, "fps_mean"), got, closeTo); diff != "" {
		t.Errorf("exposed against compare (-want +got):\n%s", diff)
	}
}

// The log says at the run's cell what the table says, in words and as numbers.
func TestSupplyEffectInTheLog(t *testing.T) {
	runs := referenceRuns()
	s := storeOf(t, runs...)
	_, m := newStill(recordingSnapshot())
	logs := compareSupplies(t, m, s, runs[len(runs)-4].Run).All() // at 30 W
	if len(logs) != 1 {
		t.Fatalf("%d lines in the log, want the one of the run's cell: %v", len(logs), logs)
	}
	want := "fps_mean of harbour-flight at 30W on unit-oak: battery against mains -5.0 % (-5.7 to -4.3), 3 and 3 runs"
	if logs[0].Message != want {
		t.Errorf("log says\n%s, want\n%s", logs[0].Message, want)
	}
	shown, fields := shownEffects(t, m), logs[0].ContextMap()
	for field, bound := range map[string]string{"ratio": "estimate", "lower": "lower", "upper": "upper"} {
		if x := shown["unit-oak harbour-flight  30W fps_mean "+bound]; fields[field] != x {
			t.Errorf("log has %s=%v, the metric %v", field, fields[field], x)
		}
	}
	for field, want := range map[string]string{"device": "unit-oak", "workload": "harbour-flight", "variant": "", "setting": "30W", "result": "fps_mean"} {
		if fields[field] != want {
			t.Errorf("log has %s=%v, want %q", field, fields[field], want)
		}
	}
	if fields["verdict"] != "b" {
		t.Errorf("verdict %v, want b: mains is ahead", fields["verdict"])
	}
	if logs := compareSupplies(t, m, s, run.Run{}); logs.Len() != 0 {
		t.Errorf("computing all cells says %v", logs.All())
	}
}

// Runs whose setting nobody knows are compared all the same, and the log says so.
func TestSupplyEffectAtAnUnknownSetting(t *testing.T) {
	onBattery := run.Labels{Device: "unit-oak", Workload: "tile-sort", Supply: run.Battery}
	onMains := onBattery
	onMains.Supply = run.Mains
	runs := slices.Concat(cellRuns(onBattery, "score", 98, 99), cellRuns(onMains, "score", 100, 101, 100.5))
	_, m := newStill(recordingSnapshot())
	logs := compareSupplies(t, m, storeOf(t, runs...), runs[0].Run).All()
	if len(logs) != 1 || !strings.HasPrefix(logs[0].Message, "score of tile-sort at an unknown setting on unit-oak: battery against mains -2.0 % (") || !strings.HasSuffix(logs[0].Message, ", 2 and 3 runs") {
		t.Errorf("log %v", logs)
	}
}

// A run that is rejected is in no number any more; a cell that has no run left
// on one supply has no series left. Keeping the run brings all back.
func TestSupplyEffectFollowsRejections(t *testing.T) {
	other := cell(10, run.Battery)
	other.Workload = "tile-sort"
	mains := other
	mains.Supply = run.Mains
	s := storeOf(t, slices.Concat(referenceRuns(), cellRuns(other, "fps_mean", 9, 9.1), cellRuns(mains, "fps_mean", 10, 10.1))...)
	_, m := newStill(recordingSnapshot())
	compareSupplies(t, m, s, run.Run{})
	before := shownEffects(t, m)

	ctx, rejected := context.Background(), cellRuns(cell(10, run.Battery), "fps_mean", 0, 0, 0)
	for _, d := range rejected {
		if _, err := s.Correct(ctx, d.ID, run.Correction{Decision: run.Reject, Why: "the display was off", At: day}); err != nil {
			t.Fatal(err)
		}
	}
	logs := compareSupplies(t, m, s, rejected[0].Run)
	after := shownEffects(t, m)
	if diff := cmp.Diff(compared(t, s, "fps_mean"), after, closeTo); diff != "" {
		t.Errorf("exposed after a rejection against compare (-want +got):\n%s", diff)
	}
	if len(after) != len(before)-3 || logs.Len() != 0 {
		t.Errorf("%d series before, %d after the only battery runs at 10 W were rejected; log %v", len(before), len(after), logs.All())
	}
	if _, there := after["unit-oak tile-sort  10W fps_mean estimate"]; !there {
		t.Error("the other workload's effect vanished too")
	}
	for _, d := range rejected {
		if _, err := s.Correct(ctx, d.ID, run.Correction{Decision: run.Keep, Why: "it was not", At: day}); err != nil {
			t.Fatal(err)
		}
	}
	compareSupplies(t, m, s, rejected[0].Run)
	if diff := cmp.Diff(before, shownEffects(t, m), closeTo); diff != "" {
		t.Errorf("rejected and kept (-before +after):\n%s", diff)
	}
}

// With one run in each of three cells nothing tells the noise: no bounds, in
// the metric, the table and the log; a cell that had bounds loses them.
func TestSupplyEffectWithoutBounds(t *testing.T) {
	var runs []run.Record
	for i, w := range []float64{10, 15, 20} {
		runs = append(runs, cellRuns(cell(w, run.Battery), "fps_mean", 50+float64(i))...)
		runs = append(runs, cellRuns(cell(w, run.Mains), "fps_mean", 52+float64(i))...)
	}
	extra := slices.Concat(cellRuns(cell(10, run.Battery), "fps_mean", 50, 50.1, 49.9)[1:], cellRuns(cell(10, run.Mains), "fps_mean", 52, 52.1, 51.9)[1:])
	s := storeOf(t, slices.Concat(runs, extra)...)
	_, m := newStill(recordingSnapshot())
	compareSupplies(t, m, s, run.Run{})
	if n := len(shownEffects(t, m)); n != 9 {
		t.Fatalf("%d series with repeats, want three cells with three each: %v", n, shownEffects(t, m))
	}
	for _, d := range extra {
		if _, err := s.Correct(context.Background(), d.ID, run.Correction{Decision: run.Reject, Why: "spoilt", At: day}); err != nil {
			t.Fatal(err)
		}
	}
	logs := compareSupplies(t, m, s, runs[0].Run).All()
	got := shownEffects(t, m)
	if len(got) != 3 {
		t.Errorf("without repeats %v, want three estimates alone", got)
	}
	if diff := cmp.Diff(compared(t, s, "fps_mean"), got, closeTo); diff != "" {
		t.Errorf("exposed against compare (-want +got):\n%s", diff)
	}
	if len(logs) != 1 || !strings.Contains(logs[0].Message, "-3.8 % (bounds unknown: too few repeats), 1 and 1 runs") {
		t.Fatalf("log %v", logs)
	}
	fields := logs[0].ContextMap()
	if _, there := fields["lower"]; there || fields["verdict"] != "unclear" {
		t.Errorf("log has %v", fields)
	}
}

// Variants, named settings, results in seconds and a result that only one supply
// has: each cell by itself, and the scope of one run leaves the others alone.
func TestSupplyEffectCorners(t *testing.T) {
	few := cell(15, run.Battery)
	few.Variant = "cores=6"
	quiet := cell(15, run.Battery)
	quiet.Setting = run.Named("quiet").From(run.Profile)
	quiet.Workload = "tile-sort"
	onMains := func(l run.Labels) run.Labels { l.Supply = run.Mains; return l }
	runs := slices.Concat(referenceRuns(),
		cellRuns(few, "fps_mean", 40, 40.2), cellRuns(onMains(few), "fps_mean", 41, 41.1),
		cellRuns(quiet, "load_s", 12, 12.1), cellRuns(onMains(quiet), "load_s", 11, 11.1),
		cellRuns(onMains(quiet), "score", 900, 910))
	for i := range runs {
		for name, r := range runs[i].Results {
			if name == "load_s" {
				r.Unit, r.Better = "s", run.Lower
				runs[i].Results[name] = r
			}
		}
	}
	s := storeOf(t, runs...)
	_, m := newStill(recordingSnapshot())
	compareSupplies(t, m, s, run.Run{})
	all := shownEffects(t, m)
	want := compared(t, s, "fps_mean")
	for k, v := range compared(t, s, "load_s") {
		want[k] = v
	}
	if diff := cmp.Diff(want, all, closeTo); diff != "" {
		t.Errorf("exposed against compare (-want +got):\n%s", diff)
	}
	if got := all["unit-oak tile-sort  quiet load_s estimate"]; math.Abs(got-math.Sqrt(12*12.1/(11*11.1))) > 1e-12 {
		t.Errorf("battery over mains in seconds %v", got)
	}
	for _, d := range runs {
		compareSupplies(t, m, s, d.Run)
	}
	if diff := cmp.Diff(all, shownEffects(t, m), closeTo); diff != "" {
		t.Errorf("all at once against run by run (-all +run by run):\n%s", diff)
	}
}
