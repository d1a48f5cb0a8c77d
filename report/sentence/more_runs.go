package sentence

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"sweepd/analysis"
)

// Open says in short at which settings it cannot be told who is ahead, and how many
// runs it would take. It is empty where all can be told.
func Open(c *analysis.Comparison) Sentence {
	var parts []string
	for _, b := range c.Bands {
		if b.Verdict == analysis.VerdictUnclear {
			parts = append(parts, Range(Place(c, b.FromW, b.From), Place(c, b.ToW, b.To))+needed(c, bandSettings(c, b)).brief())
		}
	}
	if len(parts) == 0 {
		return Sentence{}
	}
	return Sentence{Doubtful, Capital(strings.Join(parts, ", ")) + "."}
}

// Advised says what the further runs that sentences advise are for. (Where the runs at
// hand suffice for 3 %, as many are advised as tell the small difference found.)
const Advised = "More runs are for each side at each setting: they find a difference of 3 % with a chance of 80 %; a smaller one may stay open."

// Advises tells whether more runs of anything are advised.
func Advises(r *analysis.CompareResult) bool {
	for _, c := range r.Comparisons {
		if slices.ContainsFunc(c.Settings, func(s analysis.SettingComparison) bool { return s.MoreRuns != nil && *s.MoreRuns > 0 }) {
			return true
		}
	}
	return false
}

// manyRuns is where asking for more runs is no advice any more.
const manyRuns = 1000

// need is what is missing for a verdict at settings that have none.
type need struct {
	least, most int      // further runs of each side at most of the settings; 0: none are named
	harder      []string // settings that need more, with how many
	flagged     []string // settings where a run unlike its repeats stands in the way
	unknown     []string // settings where the number is not known
}

// needed is what is missing at some settings of a comparison.
func needed(c *analysis.Comparison, members []analysis.SettingComparison) need {
	var n need
	usual := usualMost(members)
	for _, s := range members {
		place := Place(c, s.SettingW, s.Setting)
		switch {
		case s.MoreRuns == nil:
			n.unknown = append(n.unknown, place)
		case slices.ContainsFunc(c.Flagged, func(f analysis.FlaggedRun) bool { return s.Is(f.SettingW, f.Setting) }):
			n.flagged = append(n.flagged, place)
		case *s.MoreRuns > usual:
			n.harder = append(n.harder, fmt.Sprintf("%d at %s", *s.MoreRuns, place))
		case *s.MoreRuns > 0:
			if n.most == 0 {
				n.least = *s.MoreRuns
			}
			n.least, n.most = min(n.least, *s.MoreRuns), max(n.most, *s.MoreRuns)
		}
	}
	return n
}

// wanted says in full what is missing: how many runs most of the settings need, which
// settings need more, and where more runs would not help.
func wanted(c *analysis.Comparison, members []analysis.SettingComparison) string {
	n := needed(c, members)
	var parts []string
	if n.most > 0 {
		text := wantedCounts(n.least, n.most, len(members))
		if len(n.harder) > 0 {
			text += ", but " + strings.Join(n.harder, ", ")
		}
		parts = append(parts, text)
	}
	if len(n.flagged) > 0 {
		parts = append(parts, "a run unlike its repeats stands in the way at "+listed(n.flagged))
	}
	if len(n.unknown) > 0 {
		parts = append(parts, "how many runs would tell is not known at "+strings.Join(n.unknown, ", "))
	}
	if len(parts) == 0 {
		return ""
	}
	return ": " + strings.Join(parts, "; ")
}

// brief says what is missing in few words, in brackets.
func (n need) brief() string {
	var parts []string
	if n.most > 0 {
		text := "over " + strconv.Itoa(manyRuns) + " more runs"
		switch {
		case n.most >= manyRuns:
		case n.least < n.most:
			text = fmt.Sprintf("%d to %d more runs", n.least, n.most)
		case n.most == 1:
			text = "1 more run"
		default:
			text = fmt.Sprintf("%d more runs", n.most)
		}
		parts = append(parts, strings.Join(append([]string{text}, n.harder...), ", "))
	}
	if len(n.flagged) > 0 {
		parts = append(parts, "a run unlike its repeats at "+listed(n.flagged))
	}
	if len(n.unknown) > 0 {
		parts = append(parts, "how many runs is not known at "+listed(n.unknown))
	}
	if len(parts) == 0 {
		return ""
	}
	return " (" + strings.Join(parts, "; ") + ")"
}

// usualMost is three times the median of the further runs that settings need. A setting
// that needs more than that is named by itself.
func usualMost(members []analysis.SettingComparison) int {
	var counts []int
	for _, s := range members {
		if s.MoreRuns != nil && *s.MoreRuns > 0 {
			counts = append(counts, *s.MoreRuns)
		}
	}
	if len(counts) == 0 {
		return 0
	}
	slices.Sort(counts)
	return 3 * counts[(len(counts)-1)/2]
}

func wantedCounts(least, most, members int) string {
	number := strconv.Itoa(most)
	switch {
	case most >= manyRuns:
		return fmt.Sprintf("the difference is too small for the noise, it would take more than %d more runs of each side", manyRuns)
	case least < most:
		number = fmt.Sprintf("%d to %d", least, most)
	}
	where := ""
	if members > 1 {
		where = " at each setting"
	}
	if most == 1 {
		return "1 more run of each side" + where + " is advised"
	}
	return number + " more runs of each side" + where + " are advised"
}
