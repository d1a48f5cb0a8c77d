package testday

import (
	"errors"
	"reflect"
	"strings"
	"testing"

	"sweepd/run"
	"sweepd/schedule"
)

func TestStartRequest(t *testing.T) {
	s, err := StartRequest{Workload: "tile-sort", Setting: " 25 W", Variant: "cores=6", Note: "n"}.Start()
	if err != nil || !reflect.DeepEqual(s, run.Start{Workload: "tile-sort", Setting: run.Watts(25), Variant: "cores=6", Note: "n", By: ByAPI}) {
		t.Errorf("%+v, %v", s, err)
	}
	if s, err := (StartRequest{Workload: "tile-sort"}).Start(); err != nil || s.Setting.Known() {
		t.Errorf("no setting: %+v, %v", s, err)
	}
	for want, q := range map[string]StartRequest{
		"workload is empty": {Setting: "25W"}, "above 0": {Workload: "a", Setting: "0W"}, "control characters": {Workload: "a", Setting: "a\nb"},
	} {
		var request *RequestError
		if _, err := q.Start(); !errors.As(err, &request) || !strings.Contains(err.Error(), want) || errors.Unwrap(err) == nil {
			t.Errorf("%+v: %v, want %q", q, err, want)
		}
	}
}

func TestStart(t *testing.T) {
	hot := run.Finding{Code: run.HotStart, Severity: run.SeverityDoubt, Text: "70 °C", Advice: "let it cool"}
	disagrees := run.Finding{Code: run.SettingDisagrees, Severity: run.SeverityDoubt, Text: "12W read"}
	f := &fakeAgent{doubts: []run.Finding{hot, disagrees, {Code: run.Charging, Severity: run.SeverityNote, Text: "charging"}}}
	r, err := Start(t.Context(), f, run.Start{Workload: "tile-sort"})
	if err != nil || len(r.Findings) != 3 || r.Results == nil {
		t.Errorf("%+v, %v", r, err)
	}
	if got := strings.Join(StartedSentences(r, run.Want{}, run.Readiness{}), "|"); got != "started all the same: 70 °C, finding hot_start; let it cool|started all the same: 12W read, finding setting_disagrees" {
		t.Errorf("sentences %s", got)
	}
	r.Findings, r.Supply = nil, run.Mains
	if got := strings.Join(StartedSentences(r, run.Want{Supply: run.Battery}, run.Readiness{}), "|"); got != "started all the same: it is on mains, and the plan wants battery: it does not count for the plan" {
		t.Errorf("sentences %s", got)
	}
	if got := StartedSentences(r, run.Want{Supply: run.Mains}, run.Readiness{Reasons: []run.Reason{busy, mainsNow}}); len(got) != 0 {
		t.Errorf("nothing speaks against it: %s", got)
	}
	low := run.Readiness{Reasons: []run.Reason{busy, {Finding: run.Finding{Code: run.BatteryReserve, Text: "the battery is at 50 %, the run needs 60 %", Advice: "charge it before the run"}}}}
	if got := strings.Join(StartedSentences(r, run.Want{}, low), "|"); got != "started all the same: the battery is at 50 %, the run needs 60 %; charge it before the run" {
		t.Errorf("sentences %s", got)
	}
	found := run.Run{Findings: []run.Finding{{Code: run.BatteryReserve, Severity: run.SeverityDoubt, Text: "9 %"}}}
	if got := strings.Join(StartedSentences(found, run.Want{}, low), "|"); got != "started all the same: 9 %, finding battery_reserve" {
		t.Errorf("sentences %s", got)
	}
	if len(f.recording.Findings) != 3 {
		t.Errorf("the agent's own findings changed: %+v", f.recording.Findings)
	}
	if _, err := FreeToRecord(t.Context(), f); err == nil || err.Error() != `run 000-0001 of "tile-sort" is still recording: stop it first` {
		t.Errorf("recording: %v", err)
	}
	f.recording, f.status.Device = nil, "unit-oak"
	if s, err := FreeToRecord(t.Context(), f); err != nil || s.Device != "unit-oak" {
		t.Errorf("free: %+v, %v", s, err)
	}
	f.err = errAway
	if _, err := FreeToRecord(t.Context(), f); !errors.Is(err, errAway) {
		t.Errorf("away: %v", err)
	}
	if _, err := Start(t.Context(), f, run.Start{}); !errors.Is(err, errAway) {
		t.Errorf("away: %v", err)
	}
}

func TestStartOfNext(t *testing.T) {
	s := openStore(t)
	if _, _, err := StartOfNext(t.Context(), s, "unit-oak", "", morning); err == nil || !strings.Contains(err.Error(), "no label was given, and there is no plan") {
		t.Errorf("without a plan: %v", err)
	}
	q := PlanRequest{Request: schedule.Request{Devices: []string{"unit-oak"}, Workloads: []string{"tile-sort"}, Settings: []string{"12"}, Supplies: []string{"battery"}, Variants: []string{"cores=6"}, Repeats: 1},
		EstimateRequest: EstimateRequest{FullEnergy: fullEnergy(48.6)}}
	if _, err := NewPlan(t.Context(), s, q, thisDevice, morning); err != nil {
		t.Fatal(err)
	}
	start, want, err := StartOfNext(t.Context(), s, "unit-oak", "warm", morning)
	if err != nil || !reflect.DeepEqual(start, run.Start{Workload: "tile-sort", Setting: run.Watts(12), Variant: "cores=6", Note: "warm", By: ByPlan}) {
		t.Errorf("%+v, %v", start, err)
	}
	if want.Supply != run.Battery || want.Setting != run.Watts(12) || want.Workload != "tile-sort" || want.Variant != "cores=6" || want.MinCharge <= 0 {
		t.Errorf("wants %+v", want)
	}
	if _, _, err := StartOfNext(t.Context(), s, "unit-elm", "", morning); err == nil || err.Error() != "no label was given, and the plan has nothing left for unit-elm" {
		t.Errorf("nothing left: %v", err)
	}
}
