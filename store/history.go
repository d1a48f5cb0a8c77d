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

// History is what happened to a run after it was recorded, oldest first.
type History struct {
	Results   []OldResult `json:"results"`
	Decisions []Decided   `json:"decisions"`
}
