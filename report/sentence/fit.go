package sentence

import (
	"cmp"
	"regexp"
	"slices"
	"strings"
)

// Room is how much a text may hold: words, as white space parts them, and numbers.
type Room struct{ Words, Numbers int }

// figures are the numbers of a text.
var figures = regexp.MustCompile(`\d+(?:[.,]\d+)*`)

// Taken is the room that a text takes.
func Taken(text string) Room {
	return Room{len(strings.Fields(text)), len(figures.FindAllString(text, -1))}
}

// Less is the room that is left beside a text.
func (r Room) Less(text string) Room {
	taken := Taken(text)
	return Room{r.Words - taken.Words, r.Numbers - taken.Numbers}
}

func (r Room) holds(texts []string) bool {
	left := r.Less(strings.Join(texts, " "))
	return left.Words >= 0 && left.Numbers >= 0
}

// part is a piece of a sentence, said where there is room: the pieces of one rank are said
// together or not at all, those of rank 0 always, and lower ranks come first.
type part struct {
	rank int
	text string
}

// fit picks the pieces of sentences for which there is room, and joins them. A sentence of
// which nothing of its lowest rank is said is empty.
func fit(drafts [][]part, room Room) []string {
	type rank struct{ sentence, rank int }
	var ranks []rank
	for i, d := range drafts {
		for _, p := range d {
			if r := (rank{i, p.rank}); !slices.Contains(ranks, r) {
				ranks = append(ranks, r)
			}
		}
	}
	slices.SortStableFunc(ranks, func(a, b rank) int { return cmp.Compare(a.rank, b.rank) })
	said := map[rank]bool{}
	texts := func() []string {
		out := make([]string, len(drafts))
		for i, d := range drafts {
			for _, p := range d {
				if said[rank{i, p.rank}] {
					out[i] += p.text
				}
			}
		}
		return out
	}
	started := map[int]bool{}
	for _, r := range ranks {
		first := !slices.ContainsFunc(drafts[r.sentence], func(p part) bool { return p.rank < r.rank })
		if !first && !started[r.sentence] {
			continue // the rest of a sentence that is not begun
		}
		said[r] = true
		if r.rank > 0 && !room.holds(texts()) {
			said[r] = false
			continue
		}
		started[r.sentence] = true
	}
	return texts()
}
