package testday

import (
	"encoding/json"
	"errors"
	"strings"
	"testing"

	"sweepd/analysis"
	"sweepd/run"
	"sweepd/store"
	"sweepd/store/contract"
)

func TestSelect(t *testing.T) {
	s := openStore(t)
	day(t, s)
	x, err := Select(t.Context(), s, store.Filter{}, []string{"seconds", "none"})
	if err != nil || len(x.Runs) != 16 || x.Skipped.Rejected != 1 || x.Skipped.Interrupted != 1 || x.Skipped.Recording != 0 || len(x.SwitchedOff) != 1 {
		t.Fatalf("%d runs, %+v, %d switched off, %v", len(x.Runs), x.Skipped, len(x.SwitchedOff), err)
	}
	for _, r := range x.Runs {
		if r.Results["seconds"].Better != run.Lower || len(r.Results) != 1 {
			t.Errorf("%+v", r.Results)
		}
	}
	if x, err = Select(t.Context(), s, store.Filter{Supply: run.Mains}, nil); err != nil || len(x.Runs) != 9 || x.SwitchedOff != nil || x.Runs[0].Results["seconds"].Better != run.Higher {
		t.Errorf("on mains: %+v, %v", x, err)
	}
	failsWhereItsStoreDoes(t, s, []string{"AnalysisRuns", "SwitchedOff"}, func(s store.Store) error {
		_, err := Select(t.Context(), s, store.Filter{}, nil)
		return err
	})
}

func TestCheckSides(t *testing.T) {
	for want, q := range map[string]analysis.CompareRequest{
		"compare what?": {}, "both sides": {A: "unit-oak"}, "expected pairs": {By: "variant", A: "six"}, "expected": {By: "variant", B: "six"},
	} {
		var request *RequestError
		if err := CheckSides(q, morning); !errors.As(err, &request) || !strings.Contains(err.Error(), want) {
			t.Errorf("%+v: %v, want %q", q, err, want)
		}
	}
	for _, q := range []analysis.CompareRequest{{By: "supply"}, {By: "variant", A: "cores=6"}, {A: "device=unit-oak", B: "device=unit-elm"}} {
		if err := CheckSides(q, morning); err != nil {
			t.Errorf("%+v: %v", q, err)
		}
	}
}

func TestCompare(t *testing.T) {
	s := openStore(t)
	day(t, s)
	x := mustSelect(t, s)
	prices := analysis.Prices{ByDevice: map[string]float64{"unit-oak": 599, "unit-elm": 449}, Currency: "EUR"}
	c, err := Compare(x, analysis.CompareRequest{By: "supply"}, prices, morning)
	if err != nil || len(c.Comparisons) != 1 || c.Value != nil {
		t.Errorf("one device has no price to compare: %+v, %v", c, err)
	}
	for _, r := range x.Runs {
		r.Device = "unit-elm"
		x.Runs = append(x.Runs, r)
	}
	if c, err = Compare(x, analysis.CompareRequest{By: "device"}, prices, morning); err != nil || c.Value == nil || c.Value.Currency != "EUR" || len(c.Value.Values) == 0 {
		t.Fatalf("%+v, %v", c.Value, err)
	}
	text, err := json.Marshal(c.JSON())
	if err != nil || !strings.Contains(string(text), `"value":{`) || !strings.HasPrefix(string(text), `{"`) || !strings.Contains(string(text), `"note_codes":[`) {
		t.Errorf("%s, %v", text, err)
	}
	if c, err = Compare(x, analysis.CompareRequest{By: "device"}, analysis.Prices{}, morning); err != nil || c.Value != nil {
		t.Errorf("without prices: %+v, %v", c.Value, err)
	}
	if text, _ := json.Marshal(c.JSON()); !strings.Contains(string(text), `"value":null`) {
		t.Errorf("without prices: %s", text)
	}
	if _, err = Compare(x, analysis.CompareRequest{By: "device", Metric: "none"}, prices, morning); err == nil {
		t.Error("a result that no run has")
	}
	prices.ByDevice["unit-elm"] = -1
	if _, err = Compare(x, analysis.CompareRequest{By: "device"}, prices, morning); err == nil {
		t.Error("a price below 0")
	}
}

func TestCurveAndBattery(t *testing.T) {
	s := openStore(t)
	day(t, s)
	x := mustSelect(t, s)
	curve, err := Curve(x, analysis.CurveRequest{Metric: "seconds"})
	if err != nil || len(curve.Groups) != 2 || len(curve.Groups[0].Points) != 3 {
		t.Errorf("%+v, %v", curve, err)
	}
	battery, err := Battery(x, analysis.BatteryRequest{})
	if err != nil || len(battery.Groups) != 1 || len(battery.Groups[0].Points) != 3 {
		t.Errorf("%+v, %v", battery, err)
	}
	// A run of an hour at whose end the battery was empty is a measured runtime, though
	// nobody ended it.
	hour, full, empty := 3600.0, 1.0, 0.02
	r := x.SwitchedOff[0]
	r.DurationS, r.StartCharge, r.EndCharge = &hour, &full, &empty
	x.SwitchedOff = []run.Run{r}
	with, err := Battery(x, analysis.BatteryRequest{})
	if err != nil {
		t.Fatal(err)
	}
	old, _ := json.Marshal(battery)
	now, _ := json.Marshal(with)
	if string(old) == string(now) {
		t.Errorf("a device that switched off is no runtime: %s", now)
	}
}

func TestMarkUnlike(t *testing.T) {
	s := openStore(t)
	var list []run.Record
	for i, fps := range []float64{60, 60.1, 59.9, 60.05, 59.95, 90} {
		minute := 60.0
		list = append(list, run.Record{Run: run.Run{ID: "019a0000-000" + string(rune('0'+i)), State: run.Finished, StartedAt: run.Stamp(morning), DurationS: &minute,
			Labels:  run.Labels{Device: "unit-oak", Workload: "tile-sort", Supply: run.Mains, Setting: run.Watts(12).From(run.Declared)},
			Results: map[string]run.Result{"fps": {Value: fps, Better: run.Higher}}}})
	}
	if _, _, err := s.Import(t.Context(), "", contract.Sequence(list...), nil); err != nil {
		t.Fatal(err)
	}
	if err := MarkUnlike(t.Context(), s, run.Run{Labels: run.Labels{Device: "unit-elm"}}, Thresholds{}, morning); err != nil {
		t.Fatal(err)
	}
	if d, _ := s.Run(t.Context(), "0005"); d.HasFinding(run.Outlying) {
		t.Error("runs of another device were looked at")
	}
	if err := MarkUnlike(t.Context(), s, list[0].Run, Thresholds{}, morning); err != nil {
		t.Fatal(err)
	}
	runs, err := s.Runs(t.Context(), store.Filter{})
	if err != nil {
		t.Fatal(err)
	}
	for i, r := range runs {
		if r.HasFinding(run.Outlying) != (i == 5) {
			t.Errorf("run %d: %+v", i, r.Findings)
		}
	}
	if f := runs[5].Findings[0]; f.Text == "" || f.Severity != run.SeverityNote {
		t.Errorf("%+v", f)
	}
	failsWhereItsStoreDoes(t, s, []string{"Runs", "AnalysisRuns"}, func(s store.Store) error { return MarkUnlike(t.Context(), s, run.Run{}, Thresholds{}, morning) })
}
