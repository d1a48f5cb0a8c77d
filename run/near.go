package run

import (
	"slices"
	"strings"
	"unicode"

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

// NearName is Near for names that people give to things, of which many are nearly alike
// on purpose: parts of a name are compared by themselves, and are different on purpose
// where they begin otherwise (cpu and gpu, day and bay), are as short as that and not
// merely mixed up or doubled, or end in letters that count (a to f, x to z, as in sceneA
// and sceneB). A part of seven letters or more may have two slips, all others one.
// The limits are common practice, no source.
func NearName(name string, list []string) string {
	if slices.Contains(list, name) {
		return ""
	}
	best, least := "", 0
	for _, other := range list {
		if d := nameDistance(name, other); d >= 0 && (best == "" || d < least) {
			best, least = other, d
		}
	}
	return best
}

// nameDistance is how many slips lie between two names, -1 where they are not near.
func nameDistance(a, b string) int {
	switch {
	case Respelled(a, b):
		return 0
	case !slices.Equal(numbersIn(a), numbersIn(b)):
		return -1
	}
	as, bs := nameParts(a), nameParts(b)
	if len(as) != len(bs) { // one is joined that the other is not, or has a part more
		if containsAll(as, bs) || containsAll(bs, as) {
			return -1
		}
		as, bs = []string{compared(a)}, []string{compared(b)}
	}
	sum := 0
	for i := range as {
		d := partDistance(as[i], bs[i])
		if sum += d; d < 0 || sum > 2 {
			return -1
		}
	}
	return sum
}

// numbersIn are the numbers that stand in a name.
func numbersIn(name string) []string {
	return strings.FieldsFunc(name, func(r rune) bool { return r < '0' || r > '9' })
}

// nameParts are the parts of a name in lower case: parts begin behind what joins them,
// and at a capital letter behind a small one.
func nameParts(name string) []string {
	var b strings.Builder
	small := false
	for _, r := range name {
		if small && unicode.IsUpper(r) {
			b.WriteByte('-')
		}
		small = unicode.IsLower(r)
		b.WriteRune(unicode.ToLower(r))
	}
	return strings.FieldsFunc(b.String(), func(r rune) bool { return strings.ContainsRune("-_ ./", r) })
}

func containsAll(list, some []string) bool {
	return !slices.ContainsFunc(some, func(s string) bool { return !slices.Contains(list, s) })
}

func partDistance(a, b string) int {
	if a == b {
		return 0
	}
	ra, rb := []rune(a), []rune(b)
	if len(ra) > len(rb) {
		ra, rb = rb, ra
	}
	mixedUp := len(ra) == len(rb) && slices.Equal(slices.Sorted(slices.Values(ra)), slices.Sorted(slices.Values(rb)))
	last := len(ra) - 1
	switch {
	case last < 1 || isRoman(a) && isRoman(b),
		ra[0] != rb[0] && !(mixedUp && ra[0] == rb[1] && ra[1] == rb[0]),
		len(rb) <= 3 && !mixedUp && !isDoubled(ra, rb),
		len(ra) == len(rb) && slices.Equal(ra[:last], rb[:last]) && counts(ra[last]) && counts(rb[last]):
		return -1
	}
	most := 1
	if len(ra) >= 7 {
		most = 2
	}
	if d := edlib.OSADamerauLevenshteinDistance(a, b); d <= most {
		return d
	}
	return -1
}

// isDoubled tells whether the longer word is the shorter with one letter twice.
func isDoubled(short, long []rune) bool {
	return len(long) == len(short)+1 && slices.Equal(slices.Compact(slices.Clone(long)), slices.Compact(slices.Clone(short)))
}

// counts tells whether a letter is one of those that things are counted by.
func counts(r rune) bool { return 'a' <= r && r <= 'f' || 'x' <= r && r <= 'z' }

// isRoman tells whether a part of a name may be a number in Roman figures.
func isRoman(part string) bool { return strings.Trim(part, "ivx") == "" }
