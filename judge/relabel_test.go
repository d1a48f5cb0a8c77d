package judge

import (
	"strings"
	"testing"
	"time"

	"sweepd/internal/scripted"
	"sweepd/run"
)

// relabelled judges a run as its labels were, then changes them and judges again.
func relabelled(t *testing.T, s *scripted.Trace, change func(*run.Record)) (before run.Record, after Relabelled) {
	t.Helper()
	before, err := judged(s)
	if err != nil {
		t.Fatal(err)
	}
	d := before
	change(&d)
	after, err = Relabel(d, s, Thresholds{})
	if err != nil {
		t.Fatal(err)
	}
	return before, after
}

// found are the codes that a run has after it was judged again.
func found(before run.Record, x Relabelled) (codes []string) {
	for _, f := range others(before.Findings, x.Findings) {
		codes = append(codes, string(f.Code))
	}
	for _, code := range run.Codes() {
		if x.Findings[run.Code(code)] != nil {
			codes = append(codes, code)
		}
	}
	return codes
}

func TestRelabel(t *testing.T) {
	const lasting = 30 * time.Second
	supply := func(s run.Supply) func(*run.Record) {
		return func(d *run.Record) { d.Supply, d.Corrected = s, []run.Field{run.FieldSupply} }
	}
	setting := func(w float64) func(*run.Record) {
		return func(d *run.Record) { d.Setting, d.Corrected = watts(w), []run.Field{run.FieldSetting} }
	}
	dock := scripted.Play(lasting, func(t time.Duration) scripted.State { // the adapter's report drops out
		if t < 10*time.Second {
			return scripted.OnMains(t)
		}
		return scripted.OnBattery(t)
	})
	mistyped := scripted.Play(lasting, func(t time.Duration) scripted.State {
		s := scripted.OnMains(t)
		s.Setting = watts(20)
		return s
	})
	anew := scripted.Play(lasting, func(t time.Duration) scripted.State {
		s := scripted.OnMains(t)
		if t > 20*time.Second {
			s.Setting = watts(25)
		}
		return s
	})
	unknown := scripted.Play(lasting, func(t time.Duration) scripted.State {
		s := scripted.OnMains(t)
		s.Setting, s.Limit, s.Profile = run.SourcedSetting{}, nan, nan
		return s
	})
	for _, c := range []struct {
		name          string
		trace         *scripted.Trace
		change        func(*run.Record)
		before, after string
		says          string
	}{
		{"a setting that was mistyped", mistyped, setting(15), "setting_disagrees", "", ""},
		{"a setting that is mistyped now", scripted.Play(lasting, scripted.OnMains), setting(20), "", "setting_disagrees", "20W was declared, but the system reports 15W"},
		{"a setting that was declared anew by mistake", anew, setting(15), "setting_changed", "", ""},
		{"a supply that was read wrong", dock, supply(run.Battery), "supply_changed", "supply_disagrees", "corrected to battery, but the system reported mains for 10.0 s of 30.0 s"},
		{"a supply that was read right", scripted.Play(lasting, scripted.OnBattery), supply(run.Mains), "", "charger_weak supply_disagrees", ""},
		{"a setting that nobody knew", unknown, setting(15), "setting_unknown", "", ""},
		{"a setting that nobody knows", scripted.Play(lasting, scripted.OnMains), func(d *run.Record) { d.Setting, d.Corrected = run.SourcedSetting{}, []run.Field{run.FieldSetting} }, "", "setting_unknown", ""},
		{"results removed", scripted.Play(lasting, scripted.OnMains), func(d *run.Record) { d.Results = nil }, "", "result_missing", ""},
		{"a workload", dock, func(d *run.Record) { d.Workload, d.Corrected = "tile-sort", []run.Field{run.FieldWorkload} }, "supply_changed", "supply_changed", ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			before, x := relabelled(t, c.trace, c.change)
			var was []string
			for _, f := range before.Findings {
				was = append(was, string(f.Code))
			}
			if got := strings.Join(was, " "); got != c.before {
				t.Errorf("before: %s, want %s", got, c.before)
			}
			if got := strings.Join(found(before, x), " "); got != c.after {
				t.Errorf("after: %s, want %s", got, c.after)
			}
			if (x.Reject != nil) != strings.Contains(c.after, "supply_changed") {
				t.Errorf("rejected by %+v", x.Reject)
			}
			said := ""
			for _, f := range x.Findings {
				if f != nil {
					said += f.Text
				}
			}
			if !strings.Contains(said, c.says) {
				t.Errorf("%q, want %q", said, c.says)
			}
		})
	}
}

// The watts of the whole device are known on battery: the label says whether it was.
func TestRelabelledSupplyHasItsWatts(t *testing.T) {
	battery := scripted.Play(30*time.Second, scripted.OnBattery)
	before, x := relabelled(t, battery, func(d *run.Record) { d.Supply, d.Corrected = run.Mains, []run.Field{run.FieldSupply} })
	if before.SystemW == nil || x.System == nil || x.System.Watts != nil {
		t.Errorf("on battery %v, said to be on mains %+v", before.SystemW, x.System)
	}
	_, x = relabelled(t, battery, func(d *run.Record) {})
	if x.System == nil || x.System.Watts == nil || *x.System.Watts != *before.SystemW {
		t.Errorf("on battery %v, judged again %+v", before.SystemW, x.System)
	}
}

// Of a run without sweeps, what was read at its start can still be compared.
func TestRelabelWithoutSweeps(t *testing.T) {
	read := run.Watts(15).From(run.Firmware)
	d := run.Record{Run: run.Run{Labels: run.Labels{Setting: watts(20)}, SettingRead: &read, State: run.Finished,
		Findings: []run.Finding{{Code: run.SupplyChanged, Severity: run.SeverityReject, Text: "it did"}, {Code: run.ResultMissing, Severity: run.SeverityDoubt}}}}
	x, err := Relabel(d, &scripted.Trace{}, Thresholds{})
	if err != nil || x.Findings[run.SettingDisagrees] == nil || x.Findings[run.ResultMissing] == nil || x.System != nil || x.Reject == nil || x.Reject.Code != run.SupplyChanged {
		t.Errorf("%+v, %v", x, err)
	}
	if _, again := x.Findings[run.SupplyChanged]; again {
		t.Error("what only sweeps tell was judged again")
	}
}
