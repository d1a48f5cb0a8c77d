package testday

import (
	"context"
	"errors"
	"fmt"

	"sweepd/store"
)

// Merged is what became of the runs of another data file.
type Merged struct {
	Added     int        `json:"added"`
	Known     int        `json:"known"`
	Recording []string   `json:"recording"` // not taken, for they are still recording there
	Conflicts []Conflict `json:"conflicts"`
	Bad       []BadRun   `json:"bad"` // left out
}

// BadRun is a run of the other file that is damaged or breaks the rules of import; it was
// left out.
type BadRun struct {
	Run string `json:"run"`
	Why string `json:"why"`
}

// Conflict is a run that both files have with different content; it was left as it is
// here.
type Conflict struct {
	Run         string   `json:"run"`
	Differences []string `json:"differences"`
}

// Merge takes over all runs and readings of another data file, or data folder. same names
// the devices that are one machine, here and there, whatever the facts of their runs say.
func Merge(ctx context.Context, s store.Importer, path string, same []string, progress func(done, total int)) (Merged, error) {
	r, err := s.Merge(ctx, path, progress, same...)
	m := Merged{Added: r.Added, Known: r.Known, Recording: append([]string{}, r.Recording...), Conflicts: []Conflict{}, Bad: []BadRun{}}
	for _, c := range r.Conflicts {
		m.Conflicts = append(m.Conflicts, Conflict{c.Run, append([]string{}, c.Differences...)})
	}
	for _, b := range r.Bad {
		m.Bad = append(m.Bad, BadRun(b))
	}
	return m, err
}

// Failed says what could not be taken; nil where all could.
func (m Merged) Failed() error {
	return errors.Join(notTaken(len(m.Conflicts), "both files have them, with different content"),
		notTaken(len(m.Bad), "they are damaged, or break the rules of import"))
}

func notTaken(n int, why string) error {
	switch n {
	case 0:
		return nil
	case 1:
		return fmt.Errorf("1 run of the other file could not be taken: %s", why)
	default:
		return fmt.Errorf("%d runs of the other file could not be taken: %s", n, why)
	}
}
