package testday

import (
	"context"

	"sweepd/analysis"
	"sweepd/report/sentence"
)

// BatteryRequest asks how long batteries last.
type BatteryRequest struct {
	AnalysisRequest
	FullEnergy []string `json:"full_energy"` // see ParseFullEnergy
	Reserve    float64  `json:"reserve"`     // share of the full energy that is kept back
}

// BatteryAnswer is how long batteries last.
type BatteryAnswer struct {
	sentence.BatteryJSON
	Skipped SkippedJSON `json:"skipped"`
}

// FindBattery says what runs draw on battery and how long the battery lasts.
var FindBattery = &Operation[BatteryRequest, BatteryAnswer]{
	About{Method: "GET", Path: "/battery", Summary: "Says what runs draw on battery and how long the battery lasts."},
	func(ctx context.Context, d *Day, q BatteryRequest) (a BatteryAnswer, err error) {
		full, err := ParseFullEnergies(q.FullEnergy)
		if err != nil {
			return a, err
		}
		x, err := q.selection(ctx, d)
		if err != nil {
			return a, err
		}
		r, err := Battery(x, analysis.BatteryRequest{Full: full, Reserve: q.Reserve, Declared: q.Noise})
		return BatteryAnswer{sentence.BatteryAsJSON(r), x.skipped()}, withSkipped(x, err)
	},
}

// Battery says what runs draw on battery and how long the battery lasts. Runs at
// whose end the device switched off count as measured runtimes.
func Battery(x Selection, q analysis.BatteryRequest) (analysis.BatteryResult, error) {
	q.SwitchedOff = x.SwitchedOff
	return analysis.Battery(x.Runs, q)
}
