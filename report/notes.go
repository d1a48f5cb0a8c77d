package report

import (
	"sweepd/analysis"
	"sweepd/report/sentence"
)

// appendNotes words notes behind what they are about, but for those that a
// sentence of the page says already: who did not keep to a setting, and which runs
// are unlike their repeats.
func appendNotes(notes []string, about string, more []analysis.Note) []string {
	for _, n := range more {
		switch n.Code {
		case analysis.NoteSettingsDisobeyed, analysis.NoteUnlikeRepeats:
		default:
			notes = append(notes, about+sentence.Note(n))
		}
	}
	return notes
}
