package run

import (
	"slices"
	"strings"

	"github.com/hbollon/go-edlib"
)

// Near is the word of a list that another was probably meant to be, "" where none is
// near or where the word itself is in the list. Near is another spelling of the same
// letters and digits ("Tile_Sort", "tile-sort"), or at most one slip of the hand away
// (Damerau 1964: a letter wrong, missing, too many, or two swapped) in words of up to
// five letters and two in longer ones; but words that differ in their digits are
// different on purpose ("cores6", "cores8"). The limits are common practice, no source.
func Near(word string, list []string) string {
	if slices.Contains(list, word) {
		return ""
	}
	best, least := "", 0
	for _, other := range list {
		d := distance(word, other)
		if d >= 0 && (best == "" || d < least) {
			best, least = other, d
		}
	}
	return best
}

// distance is how many edits lie between two words as they are compared, -1 where they
// are not near.
func distance(a, b string) int {
	a, b = compared(a), compared(b)
	if digits(a) != digits(b) {
		return -1
	}
	most := 2
	if min(len([]rune(a)), len([]rune(b))) <= 5 {
		most = 1
	}
	if d := edlib.OSADamerauLevenshteinDistance(a, b); d <= most {
		return d
	}
	return -1
}

// Respelled tells whether two words are of the same letters and digits, whatever their
// case and however their parts are joined: "Tile_Sort" and "tile-sort".
func Respelled(a, b string) bool { return compared(a) == compared(b) }

// compared is a word without what hands add and leave out: case, hyphens, underscores
// and spaces.
func compared(s string) string {
	return strings.NewReplacer("-", "", "_", "", " ", "").Replace(strings.ToLower(s))
}

func digits(s string) string {
	return strings.Map(func(r rune) rune {
		if '0' <= r && r <= '9' {
			return r
		}
		return -1
	}, s)
}
