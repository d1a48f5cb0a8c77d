package testday

import (
	"context"

	"sweepd/analysis"
	"sweepd/report/sentence"
)

// CurveAnswer is how results scale with the setting.
type CurveAnswer struct {
	sentence.CurveJSON
	Skipped SkippedJSON `json:"skipped"`
}

// FindCurve says how results scale with the setting.
var FindCurve = &Operation[AnalysisRequest, CurveAnswer]{
	About{Method: "GET", Path: "/curve", Summary: "Says how results scale with the setting, where scaling stops, and which settings are ignored."},
	func(ctx context.Context, d *Day, q AnalysisRequest) (a CurveAnswer, err error) {
		x, err := q.selection(ctx, d)
		if err != nil {
			return a, err
		}
		r, err := Curve(x, analysis.CurveRequest{Metric: q.Metric, Declared: q.Noise})
		return CurveAnswer{sentence.CurveAsJSON(r), x.skipped()}, withSkipped(x, err)
	},
}

// Curve says how results scale with the setting, where scaling stops, and which
// settings are ignored.
func Curve(x Selection, q analysis.CurveRequest) (analysis.CurveResult, error) {
	return analysis.Curve(x.Runs, q)
}
