package run

import (
	"math"
	"strings"
	"testing"
	"time"
)

func TestRecordCheck(t *testing.T) {
	good := func() *Record {
		return &Record{Run: Run{
			ID: "run-0001", Labels: Labels{Variant: "cores=6,fan=quiet"}, StartedAt: Stamp(time.Date(2026, 5, 4, 9, 0, 0, 0, time.UTC)),
			DurationS: new(60.0), Results: map[string]Result{"fps": {Value: 61.3, Unit: "fps", Better: Higher}},
			Discharge: &Discharge{Watts: new(12.5)},
		}, Summaries: []Summary{{Sensor: PackagePower, Mean: new(-1.5)}}}
	}
	if err := good().Check(); err != nil {
		t.Errorf("a good record: %v", err)
	}
	if err := (&Record{Run: Run{ID: "x"}}).Check(); err != nil {
		t.Errorf("a record of which nothing is known: %v", err)
	}
	bad := new(math.NaN())
	for want, change := range map[string][]func(*Record){
		"want a line of text": {
			func(r *Record) { r.ID = "" }, func(r *Record) { r.ID = "a\nb" }, func(r *Record) { r.ID = "a\x00" },
		},
		`variant "=6": want pairs`: {func(r *Record) { r.Variant = "=6" }},
		"year from 1 to 9999": {
			func(r *Record) { r.StartedAt = Stamp(time.Date(10000, 1, 1, 0, 0, 0, 0, time.UTC)) },
			func(r *Record) { r.StartedAt = Stamp(time.Date(0, 1, 1, 0, 0, 0, 0, time.UTC)) },
		},
		"not a finite number": {func(r *Record) { r.Results["fps"] = Result{Value: math.Inf(1), Better: Higher} }},
		"duration or warm-up": {func(r *Record) { r.DurationS = bad }, func(r *Record) { r.WarmUpS = new(math.Inf(-1)) }},
		"package or system":   {func(r *Record) { r.PackageW = bad }, func(r *Record) { r.SystemW = new(math.Inf(1)) }},
		"discharge is NaN": {
			func(r *Record) { r.Discharge.Watts = bad }, func(r *Record) { r.Discharge.UncertaintyWatts = bad },
			func(r *Record) { r.Discharge.FromPowerWatts = bad }, func(r *Record) { r.Discharge.FromEnergyWatts = bad },
		},
		"summary of package_power_watts": {
			func(r *Record) { r.Summaries[0].Mean = bad }, func(r *Record) { r.Summaries[0].Min = bad }, func(r *Record) { r.Summaries[0].Max = bad },
			func(r *Record) { r.Summaries[0].P95 = bad }, func(r *Record) { r.Summaries[0].First = bad }, func(r *Record) { r.Summaries[0].Last = bad },
			func(r *Record) { r.Summaries[0].EnergyJoules = bad }, func(r *Record) { r.Summaries[0].SteadyMean = bad },
		},
	} {
		for i, f := range change {
			r := good()
			f(r)
			if err := r.Check(); err == nil || !strings.Contains(err.Error(), want) || !strings.HasPrefix(err.Error(), "run "+r.ID+": ") {
				t.Errorf("change %d: got %v, want %q", i, err, want)
			}
		}
	}
	for _, year := range []int{1, 9999} {
		r := good()
		r.StartedAt = Stamp(time.Date(year, 6, 1, 0, 0, 0, 0, time.UTC))
		if err := r.Check(); err != nil {
			t.Errorf("year %d: %v", year, err)
		}
	}
}

func TestCorrectionCheck(t *testing.T) {
	for _, c := range []Correction{
		{},
		{Decision: Reject, Why: "an update ran"},
		{Decision: Keep, Why: "it did not"},
		{Results: map[string]NewResult{"fps": {Result: Result{Value: 1, Better: Lower}}}},
	} {
		if err := c.Check(); err != nil {
			t.Errorf("%+v: %v", c, err)
		}
	}
	for want, c := range map[string]Correction{
		"reason is empty":         {Decision: Reject},
		"control characters":      {Decision: Keep, Why: "a\nb"},
		"neither reject nor keep": {Decision: "drop", Why: "an update ran"},
		"want higher or lower":    {Results: map[string]NewResult{"fps": {Result: Result{Value: 1}}}},
	} {
		if err := c.Check(); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%+v: got %v, want %q", c, err, want)
		}
	}
}
