package sentence

import "sweepd/analysis"

// Results of the analysis as JSON has them: the fields of the result, and its notes
// as lists of text. Of two fields of one name encoding/json takes the outer one.
type (
	CompareJSON struct {
		analysis.CompareResult
		Comparisons []ComparisonJSON `json:"comparisons"`
		Notes       []string         `json:"notes"`
	}
	ComparisonJSON struct {
		analysis.Comparison
		Confounders []string `json:"confounders"`
		Notes       []string `json:"notes"`
	}
	CurveJSON struct {
		analysis.CurveResult
		Groups []CurveGroupJSON `json:"groups"`
		Notes  []string         `json:"notes"`
	}
	CurveGroupJSON struct {
		analysis.CurveGroup
		Notes []string `json:"notes"`
	}
	BatteryJSON struct {
		analysis.BatteryResult
		Groups []BatteryGroupJSON `json:"groups"`
		Notes  []string           `json:"notes"`
	}
	BatteryGroupJSON struct {
		analysis.BatteryGroup
		Notes []string `json:"notes"`
	}
	ValueJSON struct {
		analysis.ValueResult
		Notes []string `json:"notes"`
	}
)

// CompareAsJSON words the notes of comparisons.
func CompareAsJSON(r analysis.CompareResult) CompareJSON {
	list := make([]ComparisonJSON, len(r.Comparisons))
	for i, c := range r.Comparisons {
		list[i] = ComparisonJSON{c, Notes(c.Confounders), Notes(c.Notes)}
	}
	return CompareJSON{r, list, Notes(r.Notes)}
}

// CurveAsJSON words the notes of curves.
func CurveAsJSON(r analysis.CurveResult) CurveJSON {
	groups := make([]CurveGroupJSON, len(r.Groups))
	for i, g := range r.Groups {
		groups[i] = CurveGroupJSON{g, Notes(g.Notes)}
	}
	return CurveJSON{r, groups, Notes(r.Notes)}
}

// BatteryAsJSON words the notes on power and runtime.
func BatteryAsJSON(r analysis.BatteryResult) BatteryJSON {
	groups := make([]BatteryGroupJSON, len(r.Groups))
	for i, g := range r.Groups {
		groups[i] = BatteryGroupJSON{g, Notes(g.Notes)}
	}
	return BatteryJSON{r, groups, Notes(r.Notes)}
}

// ValueAsJSON words the notes on prices; nil stays nil.
func ValueAsJSON(r *analysis.ValueResult) *ValueJSON {
	if r == nil {
		return nil
	}
	return &ValueJSON{*r, Notes(r.Notes)}
}
