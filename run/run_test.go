package run

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"
)

func TestWhatARunHas(t *testing.T) {
	long := 61.5
	r := Run{DurationS: &long, Findings: []Finding{{Code: TooShort}, {Code: Throttled}}}
	if r.Seconds() != 61.5 || (&Run{}).Seconds() != 0 {
		t.Errorf("%v s, and %v s where it is unknown", r.Seconds(), (&Run{}).Seconds())
	}
	if !r.HasFinding(TooShort) || !r.HasFinding(Throttled) || r.HasFinding(Suspended) || (&Run{}).HasFinding(TooShort) {
		t.Errorf("findings %v", r.Findings)
	}
}

// The relative standard uncertainty is that of the half width of a 95 % interval, which
// is the 0.975 quantile of the normal distribution times the standard uncertainty (GUM,
// JCGM 100:2008, table G.1: 1.960).
func TestSystemUncertainty(t *testing.T) {
	w, half, none, charging := 20.0, 0.5, 0.0, -20.0
	r := Run{SystemW: &w, Discharge: &Discharge{UncertaintyWatts: &half}}
	if got, want := r.SystemUncertainty(), half/distuv.UnitNormal.Quantile(0.975)/w; math.Abs(got-want) > 1e-12 {
		t.Errorf("%v, want %v", got, want)
	}
	for what, r := range map[string]Run{
		"no discharge": {SystemW: &w}, "no uncertainty": {SystemW: &w, Discharge: &Discharge{}}, "no power": {Discharge: r.Discharge},
		"at rest": {SystemW: &none, Discharge: r.Discharge}, "charging": {SystemW: &charging, Discharge: r.Discharge},
	} {
		if got := r.SystemUncertainty(); got != 0 {
			t.Errorf("%s: %v, want 0 for unknown", what, got)
		}
	}
}

func TestFindingsInWords(t *testing.T) {
	list := []Finding{{Code: ResultMissing, Severity: SeverityDoubt, Text: "no result was given"}, {Code: TooShort, Text: "12 s", Advice: "wait"}, {Code: ClockStepped, Text: "by 3 s"}}
	Advise(list)
	for i, want := range []string{"no result was given; add it with sweepd run result RUN NAME=VALUE", "12 s; wait", "by 3 s"} {
		if got := list[i].WithAdvice(); got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
}

func TestShortID(t *testing.T) {
	for id, want := range map[string]string{"017f22e2-79b0-7cc3-98c4-dc0c0c07398f": "0c07398f", "abcdefgh": "abcdefgh", "x": "x", "": ""} {
		if got := ShortID(id); got != want {
			t.Errorf("%q became %q, want %q", id, got, want)
		}
	}
}

func TestSensorsInWords(t *testing.T) {
	for want, s := range map[string]Sensor{
		"temperature_celsius of nvme/Composite": {ID: Temperature, Instance: "nvme/Composite"},
		"cpus_online":                           {ID: CPUsOnline},
	} {
		if got := s.String(); got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
	if Gauge.String() != "gauge" || Counter.String() != "counter" {
		t.Errorf("kinds %s and %s", Gauge, Counter)
	}
}

func TestEventsInWords(t *testing.T) {
	for k, want := range map[EventKind]string{
		0: "unknown event", RunStarted: "run started", RunEnded: "run ended", RunCorrected: "run corrected", SettingNow: "setting", SupplyNow: "supply",
	} {
		if got := k.String(); got != want {
			t.Errorf("%d is %q, want %q", k, got, want)
		}
	}
}
