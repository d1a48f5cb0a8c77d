package store

import "sweepd/run"

// OldResult is a result that a correction replaced.
type OldResult struct {
	Name       string        `json:"name"`
	Result     run.Result    `json:"result"`
	SetAt      run.Timestamp `json:"set_at"` // zero: with the run
	ReplacedAt run.Timestamp `json:"replaced_at"`
}

// Decided is a rejection or its undoing.
type Decided struct {
	At   run.Timestamp `json:"at"`
	What run.Decision  `json:"what"`
	Who  string        `json:"who"` // "finding" or "user"
	Why  string        `json:"why"`
}

// Corrected is one thing of a run that was corrected.
type Corrected struct {
	run.Change
	Batch  string        `json:"batch"` // id of all that was corrected together
	At     run.Timestamp `json:"at"`
	Who    string        `json:"who"`             // "" unknown
	Why    string        `json:"why"`             // "" none was given
	Undoes string        `json:"undoes,omitzero"` // the batch that was taken back by it
}

// History is what happened to a run after it was recorded, oldest first.
type History struct {
	Results   []OldResult `json:"results"`
	Decisions []Decided   `json:"decisions"`
	// Corrections are those of labels and notes, of results that were there, and those
	// of many runs at once.
	Corrections []Corrected `json:"corrections"`
}

// Changes are what was corrected, without when and by whom.
func (h *History) Changes() []run.Change {
	list := make([]run.Change, len(h.Corrections))
	for i, c := range h.Corrections {
		list[i] = c.Change
	}
	return list
}

// Batch is what was corrected together.
type Batch struct {
	ID     string        `json:"id"`
	At     run.Timestamp `json:"at"`
	Who    string        `json:"who"`
	Why    string        `json:"why"`
	Undoes string        `json:"undoes,omitzero"`    // the batch that was taken back by it
	Undone string        `json:"undone_by,omitzero"` // the last batch that took it back
	Runs   []string      `json:"runs"`               // ids, in the order of the alphabet
}

// RunCorrection is a correction of one run among several.
type RunCorrection struct {
	Run string // full id
	run.Correction
}
