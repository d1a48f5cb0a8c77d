package analysis

import (
	"fmt"
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

// has tells whether notes hold this very note.
func has(notes []Note, want Note) bool {
	return slices.ContainsFunc(notes, func(n Note) bool { return cmp.Equal(n, want) })
}

// oneOf is the first note of a code.
func oneOf(notes []Note, code NoteCode) (first Note, found bool) {
	i := slices.IndexFunc(notes, func(n Note) bool { return n.Code == code })
	if i < 0 {
		return Note{}, false
	}
	return notes[i], true
}

// sameNotes wants the notes of two results to agree.
func sameNotes(t rapid.TB, a, b any) {
	t.Helper()
	if one, other := notesIn(a), notesIn(b); !cmp.Equal(one, other, approximately) {
		t.Fatalf("the notes differ: %s", cmp.Diff(one, other, approximately))
	}
}

// notesIn are all notes of a result by their place.
func notesIn(result any) map[string][]Note {
	all := map[string][]Note{}
	switch r := result.(type) {
	case CompareResult:
		all[""] = r.Notes
		for i, c := range r.Comparisons {
			all[fmt.Sprint("besides", i)], all[fmt.Sprint("comparison", i)] = c.Confounders, c.Notes
		}
	case CurveResult:
		all[""] = r.Notes
		for i, g := range r.Groups {
			all[fmt.Sprint("group", i)] = g.Notes
		}
	case BatteryResult:
		all[""] = r.Notes
		for i, g := range r.Groups {
			all[fmt.Sprint("group", i)] = g.Notes
		}
	default:
		panic(fmt.Sprintf("no notes in %T", result))
	}
	return all
}

// A note is made once, also where it holds a list.
func TestAddNote(t *testing.T) {
	var list []Note
	units := func(names ...string) Note { return Note{Code: NoteSeveralUnits, Metric: "score", Names: names} }
	for _, n := range []Note{{Code: NoteNoiseBorrowed}, units("fps", "s"), {Code: NoteNoiseBorrowed}, units("fps", "s"), units("fps")} {
		addNote(&list, n)
	}
	if len(list) != 3 {
		t.Errorf("%+v", list)
	}
}
