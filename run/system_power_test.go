package run

import (
	"strings"
	"testing"
)

func TestRunsThatSayNothingHaveNoSystemPower(t *testing.T) {
	discharge := func(watts, uncertainty float64) *Discharge {
		return &Discharge{Watts: &watts, UncertaintyWatts: &uncertainty}
	}
	short := []Finding{{Code: TooShort, Severity: SeverityDoubt}}
	for _, c := range []struct {
		name      string
		supply    Supply
		discharge *Discharge
		findings  []Finding
		says      string // "": the watts stay
	}{
		{name: "sound", supply: Battery, discharge: discharge(20, 1)},
		{name: "uncertain by just the limit", supply: Battery, discharge: discharge(20, 5)},
		{name: "uncertain by more", supply: Battery, discharge: discharge(20, 5.1), says: "too uncertain, 20.0 ± 5.1 W: more than 25 % of it"},
		{name: "it charges, by its word", supply: Battery, discharge: discharge(-20, 6), says: "too uncertain"},
		{name: "at rest", supply: Battery, discharge: discharge(0, 0.01), says: "too uncertain, 0.000 ± 0.010 W: it cannot be told from 0"},
		{name: "nearly at rest", supply: Battery, discharge: discharge(0.0012, 0.0069), says: "too uncertain, 0.0012 ± 0.0069 W: it cannot be told from 0"},
		{name: "nothing at all", supply: Battery, discharge: discharge(0, 1e-9), says: "too uncertain, 0.0000 W, by less than 0.0001 W: it cannot be told from 0"},
		{name: "far too uncertain", supply: Battery, discharge: discharge(12, 345), says: "too uncertain, 12.0 ± 345.0 W: it cannot be told from 0"},
		{name: "too short", supply: Battery, discharge: discharge(20, 1), findings: short, says: "too short, 0.4 s"},
		{name: "without a stated uncertainty", supply: Battery, discharge: &Discharge{Watts: new(20.0)}},
		{name: "a table's, which has no discharge", supply: Battery, findings: short},
		{name: "a discharge that is unknown", supply: Battery, discharge: &Discharge{UncertaintyWatts: new(9.0)}, findings: short},
		{name: "on mains", supply: Mains, discharge: discharge(0.1, 1), findings: short},
	} {
		r := Run{Labels: Labels{Supply: c.supply}, DurationS: new(0.4), SystemW: new(20.0), Discharge: c.discharge, Findings: c.findings}
		if got := r.NoSystemPower(); !strings.Contains(got, c.says) || (got == "") != (c.says == "") {
			t.Errorf("%s: %q, want %q", c.name, got, c.says)
		}
		if r.LimitSystemPower(); (r.SystemW == nil) != (c.says != "") {
			t.Errorf("%s: system_w %v", c.name, r.SystemW)
		}
	}
}
