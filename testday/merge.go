package testday

import (
	"context"
	"fmt"

	"sweepd/store"
)

// Merged is what became of the runs of another data file.
type Merged struct {
	Added     int        `json:"added"`
	Known     int        `json:"known"`
	Recording []string   `json:"recording"` // not taken, for they are still recording there
	Conflicts []Conflict `json:"conflicts"`
}

// Conflict is a run that both files have with different content; it was left as it is
// here.
type Conflict struct {
	Run         string   `json:"run"`
	Differences []string `json:"differences"`
}

// Merge takes over all runs and readings of another data file, or data folder.
func Merge(ctx context.Context, s store.Importer, path string, progress func(done, total int)) (Merged, error) {
	r, err := s.Merge(ctx, path, progress)
	m := Merged{Added: r.Added, Known: r.Known, Recording: append([]string{}, r.Recording...), Conflicts: []Conflict{}}
	for _, c := range r.Conflicts {
		m.Conflicts = append(m.Conflicts, Conflict{c.Run, append([]string{}, c.Differences...)})
	}
	return m, err
}

// Failed says what could not be taken; nil where all could.
func (m Merged) Failed() error {
	switch n := len(m.Conflicts); n {
	case 0:
		return nil
	case 1:
		return fmt.Errorf("1 run of the other file could not be taken: both files have them, with different content")
	default:
		return fmt.Errorf("%d runs of the other file could not be taken: both files have them, with different content", n)
	}
}
