package sentence

import "sweepd/analysis"

// Results of the analysis as JSON has them: the fields of the result, and its notes
// in words. Of two fields of one name encoding/json takes the outer one.
type (
	CompareJSON struct {
		analysis.CompareResult
		Comparisons []ComparisonJSON `json:"comparisons"`
		NotesJSON
	}
	ComparisonJSON struct {
		analysis.Comparison
		Confounders []string `json:"confounders"`
		NotesJSON
	}
	CurveJSON struct {
		analysis.CurveResult
		Groups []CurveGroupJSON `json:"groups"`
		NotesJSON
	}
	CurveGroupJSON struct {
		analysis.CurveGroup
		NotesJSON
	}
	BatteryJSON struct {
		analysis.BatteryResult
		Groups []BatteryGroupJSON `json:"groups"`
		NotesJSON
	}
	BatteryGroupJSON struct {
		analysis.BatteryGroup
		NotesJSON
	}
	ValueJSON struct {
		analysis.ValueResult
		NotesJSON
	}
	// NotesJSON are the notes in words and by their codes, which machines branch on,
	// in the same order.
	NotesJSON struct {
		Notes     []string            `json:"notes"`
		NoteCodes []analysis.NoteCode `json:"note_codes"`
	}
)

func notesAsJSON(list []analysis.Note) NotesJSON {
	codes := make([]analysis.NoteCode, len(list))
	for i, n := range list {
		codes[i] = n.Code
	}
	return NotesJSON{Notes(list), codes}
}

// CompareAsJSON words the notes of comparisons.
func CompareAsJSON(r analysis.CompareResult) CompareJSON {
	list := make([]ComparisonJSON, len(r.Comparisons))
	for i, c := range r.Comparisons {
		list[i] = ComparisonJSON{c, Notes(c.Confounders), notesAsJSON(c.Notes)}
	}
	return CompareJSON{r, list, notesAsJSON(r.Notes)}
}

// CurveAsJSON words the notes of curves.
func CurveAsJSON(r analysis.CurveResult) CurveJSON {
	groups := make([]CurveGroupJSON, len(r.Groups))
	for i, g := range r.Groups {
		groups[i] = CurveGroupJSON{g, notesAsJSON(g.Notes)}
	}
	return CurveJSON{r, groups, notesAsJSON(r.Notes)}
}

// BatteryAsJSON words the notes on power and runtime.
func BatteryAsJSON(r analysis.BatteryResult) BatteryJSON {
	groups := make([]BatteryGroupJSON, len(r.Groups))
	for i, g := range r.Groups {
		groups[i] = BatteryGroupJSON{g, notesAsJSON(g.Notes)}
	}
	return BatteryJSON{r, groups, notesAsJSON(r.Notes)}
}

// ValueAsJSON words the notes on prices; nil stays nil.
func ValueAsJSON(r *analysis.ValueResult) *ValueJSON {
	if r == nil {
		return nil
	}
	return &ValueJSON{*r, notesAsJSON(r.Notes)}
}
