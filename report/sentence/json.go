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
		Confounders     []string            `json:"confounders"`
		ConfounderCodes []analysis.NoteCode `json:"confounder_codes"`
		ConfounderFacts []analysis.Note     `json:"confounder_facts"`
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
	// NotesJSON are the notes in words, by their codes, which machines branch on, and
	// with all that the words are made of, in the same order.
	NotesJSON struct {
		Notes     []string            `json:"notes"`
		NoteCodes []analysis.NoteCode `json:"note_codes"`
		NoteFacts []analysis.Note     `json:"note_facts"`
	}
)

func notesAsJSON(list []analysis.Note) NotesJSON {
	return NotesJSON{Notes(list), noteCodes(list), asList(list)}
}

// noteCodes are the codes of notes, never null.
func noteCodes(list []analysis.Note) []analysis.NoteCode {
	codes := make([]analysis.NoteCode, len(list))
	for i, n := range list {
		codes[i] = n.Code
	}
	return codes
}

// asList are notes as they are, never null.
func asList(list []analysis.Note) []analysis.Note { return append([]analysis.Note{}, list...) }

// CompareAsJSON words the notes of comparisons.
func CompareAsJSON(r analysis.CompareResult) CompareJSON {
	list := make([]ComparisonJSON, len(r.Comparisons))
	for i, c := range r.Comparisons {
		list[i] = ComparisonJSON{c, Notes(c.Confounders), noteCodes(c.Confounders), asList(c.Confounders), notesAsJSON(c.Notes)}
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

// Result is what the JSON was made of.
func (j CompareJSON) Result() analysis.CompareResult {
	r := j.CompareResult
	r.Comparisons, r.Notes = make([]analysis.Comparison, len(j.Comparisons)), j.NoteFacts
	for i, c := range j.Comparisons {
		r.Comparisons[i] = c.Comparison
		r.Comparisons[i].Notes, r.Comparisons[i].Confounders = c.NoteFacts, c.ConfounderFacts
	}
	return r
}

// Result is what the JSON was made of.
func (j CurveJSON) Result() analysis.CurveResult {
	r := j.CurveResult
	r.Groups, r.Notes = make([]analysis.CurveGroup, len(j.Groups)), j.NoteFacts
	for i, g := range j.Groups {
		r.Groups[i] = g.CurveGroup
		r.Groups[i].Notes = g.NoteFacts
	}
	return r
}

// Result is what the JSON was made of.
func (j BatteryJSON) Result() analysis.BatteryResult {
	r := j.BatteryResult
	r.Groups, r.Notes = make([]analysis.BatteryGroup, len(j.Groups)), j.NoteFacts
	for i, g := range j.Groups {
		r.Groups[i] = g.BatteryGroup
		r.Groups[i].Notes = g.NoteFacts
	}
	return r
}

// Result is what the JSON was made of.
func (j *ValueJSON) Result() analysis.ValueResult {
	r := j.ValueResult
	r.Notes = j.NoteFacts
	return r
}
