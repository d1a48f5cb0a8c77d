package testday

import "sweepd/analysis"

// Curve says how results scale with the setting, where scaling stops, and which
// settings are ignored.
func Curve(x Selection, q analysis.CurveRequest) (analysis.CurveResult, error) {
	return analysis.Curve(x.Runs, q)
}
