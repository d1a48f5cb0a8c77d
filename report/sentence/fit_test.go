package sentence

import (
	"slices"
	"testing"
)

// Numbers are counted as a reader meets them, words as white space parts them.
func TestTaken(t *testing.T) {
	for text, want := range map[string]Room{
		"":                                   {},
		"from 8 to 12.5 W":                   {5, 2},
		"3 h 05 min, 95 % of 1,000 runs":     {9, 4},
		"ahead by 5\u00a0% (unit-oak = 100)": {7, 2},
		"unit-2 in 2026":                     {3, 2},
	} {
		if got := Taken(text); got != want {
			t.Errorf("%q takes %v, want %v", text, got, want)
		}
	}
}

// What there is room for is said: by rank, over all sentences; pieces of one rank together or
// not at all; nothing of a sentence that could not be begun; rank 0 always.
func TestFit(t *testing.T) {
	drafts := [][]part{
		{{0, "a is ahead"}, {5, " by 10 %"}, {0, " at 8 W"}, {3, "; b stops at 40 W"}, {5, " for 2 days"}, {0, "."}},
		{{1, "set 8 W"}, {4, "; enough is 20 to 30 W"}, {1, "."}},
	}
	for _, c := range []struct {
		room Room
		want []string
	}{
		{Room{100, 100}, []string{"a is ahead by 10 % at 8 W; b stops at 40 W for 2 days.", "set 8 W; enough is 20 to 30 W."}},
		{Room{100, 6}, []string{"a is ahead at 8 W; b stops at 40 W.", "set 8 W; enough is 20 to 30 W."}},
		{Room{100, 3}, []string{"a is ahead at 8 W; b stops at 40 W.", "set 8 W."}},
		{Room{100, 4}, []string{"a is ahead at 8 W; b stops at 40 W.", "set 8 W."}}, // one piece of rank 5 would fit, not both
		{Room{9, 100}, []string{"a is ahead at 8 W.", "set 8 W."}},
		{Room{6, 100}, []string{"a is ahead at 8 W.", ""}},
		{Room{}, []string{"a is ahead at 8 W.", ""}},
	} {
		if got := fit(drafts, c.room); !slices.Equal(got, c.want) {
			t.Errorf("%v: %q, want %q", c.room, got, c.want)
		}
	}
}
