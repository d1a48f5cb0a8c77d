package testday

import (
	"context"
	"errors"
	"reflect"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"sweepd/run"
	"sweepd/schedule"
)

func TestStartRequest(t *testing.T) {
	s, err := StartRequest{Workload: "tile-sort", Setting: " 25 W", Variant: "cores=6", Note: "n"}.Start()
	if err != nil || !reflect.DeepEqual(s, run.Start{Workload: "tile-sort", Setting: run.Watts(25), Variant: "cores=6", Note: "n"}) {
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
	r, err := Start(t.Context(), f, run.Start{Workload: "tile-sort"}, nil)
	if err != nil || len(r.Findings) != 3 || r.Results == nil {
		t.Errorf("%+v, %v", r, err)
	}
	if got := strings.Join(StartWarnings(r), "|"); got != "70 °C; let it cool|12W read" {
		t.Errorf("warnings %s", got)
	}
	if r, err = Start(t.Context(), f, run.Start{Workload: "tile-sort"}, []run.Finding{hot}); err != nil || len(r.Findings) != 2 || r.Findings[0].Code != run.SettingDisagrees {
		t.Errorf("told before: %+v, %v", r.Findings, err)
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
	if _, err := Start(t.Context(), f, run.Start{}, nil); !errors.Is(err, errAway) {
		t.Errorf("away: %v", err)
	}
}

func TestReady(t *testing.T) {
	celsius, above, below := 51.23, 3.0, -2.5
	for want, r := range map[string]run.Readiness{
		"fit to start: 51.2 °C, 3.0 K above its idle baseline":     {Fit: true, Celsius: &celsius, AboveBaseline: &above},
		"fit to start: 51.2 °C, 2.5 K below its idle baseline":     {Fit: true, Celsius: &celsius, AboveBaseline: &below},
		"fit to start (its idle temperature is not known yet)":     {Fit: true, Celsius: &celsius},
		"not fit to start: it is hot; let it cool; it is charging": {Celsius: &celsius, AboveBaseline: &above, Reasons: []run.Finding{{Text: "it is hot", Advice: "let it cool"}, {Text: "it is charging"}}},
	} {
		if got := ReadySentence(r); got != want {
			t.Errorf("got %q, want %q", got, want)
		}
	}
	f := &fakeAgent{}
	if r, err := Ready(t.Context(), f, run.Want{Supply: run.Battery}); err != nil || !r.Fit || r.Reasons == nil || f.wanted.Supply != run.Battery {
		t.Errorf("%+v, %v", r, err)
	}
}

func TestWaitReady(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		f := &fakeAgent{reasons: []run.Finding{{Code: run.HotStart}}}
		told, start := 0, time.Now()
		if err := WaitReady(t.Context(), f, run.Want{Supply: run.Mains}, func(r run.Readiness) { told += len(r.Reasons) }); err != nil {
			t.Fatal(err)
		}
		if told != 2 || time.Since(start) != 2*readyPause || f.wanted.Supply != run.Mains {
			t.Errorf("told %d times in %v of %+v", told, time.Since(start), f.wanted)
		}
		f.asked = 0
		ctx, cancel := context.WithTimeout(t.Context(), time.Second)
		defer cancel()
		if err := WaitReady(ctx, f, run.Want{}, func(run.Readiness) {}); !errors.Is(err, context.DeadlineExceeded) || !strings.Contains(err.Error(), "no run was started") {
			t.Errorf("given up: %v", err)
		}
		f.err = errAway
		if err := WaitReady(t.Context(), f, run.Want{}, func(run.Readiness) { t.Error("nothing is known") }); !errors.Is(err, errAway) {
			t.Errorf("away: %v", err)
		}
	})
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
	if err != nil || !reflect.DeepEqual(start, run.Start{Workload: "tile-sort", Setting: run.Watts(12), Variant: "cores=6", Note: "warm"}) {
		t.Errorf("%+v, %v", start, err)
	}
	if want.Supply != run.Battery || want.Setting != run.Watts(12) || want.MinCharge <= 0 {
		t.Errorf("wants %+v", want)
	}
	if _, _, err := StartOfNext(t.Context(), s, "unit-elm", "", morning); err == nil || err.Error() != "no label was given, and the plan has nothing left for unit-elm" {
		t.Errorf("nothing left: %v", err)
	}
}
