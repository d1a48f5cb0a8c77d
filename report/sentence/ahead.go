package sentence

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"sweepd/analysis"
)

// Ranks of what a page opens with: what is said first where there is room for little.
const (
	rankLead = iota
	rankSet
	rankRuntime
	rankSecond // the second thing that is to be said of who is ahead
	rankEnough
	rankFurther // further ones, by one each
	rankLimits  = rankFurther + mostFound
	rankSizes   = rankLimits + 1
	rankLongest = rankSizes + mostFound
	rankBetween = rankLongest + 1
)

// mostFound is how many things are said of who is ahead: the picture has the rest.
const mostFound = 6

// stretch is where something is so: settings from one to another, or one that has a name
// only.
type stretch struct {
	from, to analysis.Number
	name     string
}

// overlap is where two stretches are both.
func (s stretch) overlap(t stretch) (stretch, bool) {
	if s.name != "" || t.name != "" {
		return s, s.name == t.name
	}
	both := stretch{from: max(s.from, t.from), to: min(s.to, t.to)}
	return both, both.from <= both.to
}

func (s stretch) holds(x *analysis.SettingComparison) bool {
	if s.name != "" {
		return !x.SettingW.Known() && s.name == cmp.Or(x.Setting, unknownSetting)
	}
	return s.from <= x.SettingW && x.SettingW <= s.to
}

// overlaps are all overlaps of two lists.
func overlaps(a, b []stretch) []stretch {
	var out []stretch
	for _, s := range a {
		for _, t := range b {
			if both, ok := s.overlap(t); ok {
				out = append(out, both)
			}
		}
	}
	return out
}

// phase is where one side is ahead, until the other takes the lead.
type phase struct {
	winner analysis.Verdict
	where  []stretch
}

// phases are who is ahead where, in the order of the settings. A lone setting is none, see
// Lone; list are the comparisons that c is one of.
func phases(c *analysis.Comparison, list []*analysis.Comparison) []phase {
	var out []phase
	for i, b := range c.Bands {
		if !leads(b.Verdict) || lone(c, i, list) {
			continue
		}
		if len(out) == 0 || out[len(out)-1].winner != b.Verdict {
			out = append(out, phase{winner: b.Verdict})
		}
		last := &out[len(out)-1]
		if b.FromW.Known() && b.ToW.Known() {
			last.where = append(last.where, stretch{from: b.FromW, to: b.ToW})
			continue
		}
		for _, s := range bandSettings(c, b) {
			last.where = append(last.where, stretch{name: Place(c, s.SettingW, s.Setting)})
		}
	}
	return out
}

func leads(v analysis.Verdict) bool { return v == analysis.VerdictA || v == analysis.VerdictB }

// Lone tells whether what is claimed of the settings from one to another, by their places
// among those compared, is of a single one between two of which nothing is claimed: that is
// in charts and tables, and is no headline. An end is no such one, as curves often differ
// there only, nor is what all comparisons of the two claim of that setting.
func Lone(from, to, settings int, claimedBeside, everywhere bool) bool {
	return from == to && from > 0 && to < settings-1 && !claimedBeside && !everywhere
}

// Everywhere tells whether all of several comparisons of the sides of c say the same of a
// setting.
func Everywhere(c *analysis.Comparison, list []*analysis.Comparison, watts analysis.Number, name string, v analysis.Verdict) bool {
	n := 0
	for _, x := range list {
		if x.A != c.A || x.B != c.B {
			continue
		}
		n++
		if !slices.ContainsFunc(x.Settings, func(s analysis.SettingComparison) bool { return s.Verdict == v && s.Is(watts, name) }) {
			return false
		}
	}
	return n > 1
}

// lone is Lone of a band.
func lone(c *analysis.Comparison, i int, list []*analysis.Comparison) bool {
	b := c.Bands[i]
	to := i
	if severalSettings(b) {
		to++
	}
	claimed := func(k int) bool {
		return k >= 0 && k < len(c.Bands) && c.Bands[k].Verdict != analysis.VerdictUnclear
	}
	return Lone(i, to, len(c.Bands), claimed(i-1) || claimed(i+1), Everywhere(c, list, b.FromW, b.From, b.Verdict))
}

// severalSettings tells whether a band is of more than one setting.
func severalSettings(b analysis.Band) bool {
	return b.FromW != b.ToW && (b.FromW.Known() || b.ToW.Known()) || b.From != b.To
}

// What is found of a comparison, the most telling first.
type outcome int

const (
	outcomePlaced  outcome = iota // who is ahead where
	outcomeAverage                // who is ahead on the whole, though at no setting
	outcomeLevel
	outcomeOpen
)

// found is one outcome of comparisons that have it in common.
type found struct {
	outcome outcome
	phases  []phase          // of outcomePlaced
	winner  analysis.Verdict // of outcomeAverage
	mean    bool             // of outcomeLevel: it is the mean over the settings that is level
	lone    bool             // a lone setting says who is ahead there
	of      []*analysis.Comparison
}

// find says what is found of one comparison of a list.
func find(c *analysis.Comparison, list []*analysis.Comparison) found {
	f := found{of: []*analysis.Comparison{c}, outcome: outcomeOpen}
	level := len(c.Bands) > 0 && !slices.ContainsFunc(c.Bands, func(b analysis.Band) bool { return b.Verdict != analysis.VerdictTie })
	if f.phases = phases(c, list); len(f.phases) > 0 {
		f.outcome = outcomePlaced
		return f
	}
	f.lone = slices.ContainsFunc(c.Bands, func(b analysis.Band) bool { return leads(b.Verdict) })
	o := c.Overall
	switch {
	case level || o != nil && (o.Verdict == analysis.VerdictTie || WithinMargin(c, o.Lower, o.Upper)):
		f.outcome, f.mean = outcomeLevel, !level
	case o != nil && (o.Verdict == analysis.VerdictA || o.Verdict == analysis.VerdictB):
		f.outcome, f.winner = outcomeAverage, o.Verdict
	}
	return f
}

// WithinMargin tells whether a difference on the whole is surely one that does not matter:
// it is then called level, and not at once level and ahead.
func WithinMargin(c *analysis.Comparison, lower, upper analysis.Number) bool {
	return c.Margin > 0 && math.Abs(float64(lower)) <= c.Margin && math.Abs(float64(upper)) <= c.Margin
}

// with is what two findings have in common; ok is false where that is nothing, or less
// than either says.
func (f found) with(g found) (both found, ok bool) {
	if f.outcome != g.outcome || f.winner != g.winner || len(f.phases) != len(g.phases) {
		return f, false
	}
	both = f
	both.of, both.mean, both.lone = slices.Concat(f.of, g.of), f.mean || g.mean, f.lone || g.lone
	both.phases = make([]phase, len(f.phases))
	for i, p := range f.phases {
		q := g.phases[i]
		both.phases[i] = phase{p.winner, overlaps(p.where, q.where)}
		if p.winner != q.winner || len(both.phases[i].where) == 0 {
			return f, false
		}
	}
	return both, true
}

// gather joins the findings of which each says the same as those before it.
func gather(list []found, alike func(a, b found) bool) []found {
	var out []found
next:
	for _, f := range list {
		for i := range out {
			if !alike(out[i], f) {
				continue
			}
			if both, ok := out[i].with(f); ok {
				out[i] = both
				continue next
			}
		}
		out = append(out, f)
	}
	return out
}

// findings are what is found of comparisons of one or several sides with one other, first
// over the conditions of each side, then over the sides of which the same is so under the
// same conditions.
func findings(list []*analysis.Comparison, spots map[*analysis.Comparison]spot) []found {
	var each []found
	for _, c := range list {
		each = append(each, find(c, list))
	}
	out := gather(each, func(a, b found) bool { return a.of[0].A == b.of[0].A && a.of[0].B == b.of[0].B })
	out = gather(out, func(a, b found) bool {
		return a.of[0].A != b.of[0].A && a.of[0].B == b.of[0].B && slices.Equal(at(spots, a.firstSide()), at(spots, b.of))
	})
	slices.SortStableFunc(out, func(a, b found) int {
		if (a.outcome >= outcomeLevel) != (b.outcome >= outcomeLevel) {
			return int(a.outcome) - int(b.outcome)
		}
		return cmp.Or(len(b.of)-len(a.of), int(a.outcome)-int(b.outcome))
	})
	return out
}

// firstSide are the comparisons of the first of the sides.
func (f *found) firstSide() []*analysis.Comparison {
	n := slices.IndexFunc(f.of, func(c *analysis.Comparison) bool { return c.A != f.of[0].A })
	if n < 0 {
		return f.of
	}
	return f.of[:n]
}

// sides are the sides a of which something was found.
func (f *found) sides() []string {
	var list []string
	for _, c := range f.of {
		if !slices.Contains(list, c.A) {
			list = append(list, c.A)
		}
	}
	return list
}

// who names the sides that are compared with another, as the subject of a sentence; all are
// those that are compared with it anywhere.
func (f *found) who(all []string) string {
	sides := f.sides()
	switch c := f.of[0]; {
	case len(sides) == 1 && c.Factor == "supply":
		return strings.TrimSpace(OrEmpty(c.Device) + " " + supplyWords(sides[0]))
	case len(sides) > 1 && len(sides) == len(all):
		return "the other " + inWords(len(sides))
	}
	words := make([]string, len(sides))
	for i, s := range sides {
		words[i] = Side(s)
	}
	return Listed(words, 4)
}

// ahead are the pieces of the sentence on who is ahead where, over all comparisons of one or several sides
// with one other as the page may claim them: what is the same in several is said once, with
// the settings at which it is so in all of them. The share of a lead is a/b - 1 at single
// settings, from the least to the most.
func whoIsAhead(list []*analysis.Comparison) []part {
	spots := spotsOf(list)
	every := at(spots, list)
	var out []part
	fs := findings(list, spots)
	for i, f := range fs[:min(len(fs), mostFound)] {
		rank, sizes := rankFurther+i, rankSizes+i
		if i < 2 {
			rank = []int{rankLead, rankSecond}[i]
		}
		say := func(r int, text string) { out = append(out, part{r, text}) }
		all := sidesAgainst(list, f.of[0].B)
		subject, other := f.who(all), Side(f.of[0].B)
		leader := f.leadsAll(all)
		if leader {
			subject, other = other, allOf(len(all))+" others"
		}
		if i > 0 {
			say(rank, "; ")
			if last := fs[i-1]; last.of[0].B == f.of[0].B {
				if leader {
					subject = "it" // the one that they are all compared with was named
				} else if other = ""; slices.Equal(f.sides(), last.sides()) {
					subject = plural(len(f.sides()), "it", "they")
				}
			}
		}
		before, behind := where(at(spots, f.of), every)
		if before != "" {
			subject = before + " " + subject
		}
		switch {
		case i == 0 && before != "":
			subject = Capital(subject)
		case i == 0 && len(f.sides()) > 1:
			subject = begun(subject)
		}
		say(rank, subject+" ")
		for _, p := range f.words(other, leader) {
			say(map[bool]int{true: sizes, false: rank}[p.rank > 0], p.text)
		}
		if behind != "" {
			say(rank, behind)
		}
	}
	return out
}

// sidesAgainst are the sides that are compared with another.
func sidesAgainst(list []*analysis.Comparison, b string) []string {
	var all []string
	for _, c := range list {
		if c.B == b && !slices.Contains(all, c.A) {
			all = append(all, c.A)
		}
	}
	return all
}

// leadsAll tells whether the side that all others are compared with is ahead, or behind, of
// all of them: it is the subject then.
func (f *found) leadsAll(all []string) bool {
	n := len(f.sides())
	return n > 1 && n == len(all) && (f.outcome == outcomePlaced && len(f.phases) == 1 || f.outcome == outcomeAverage)
}

// words are what is found, behind its subject; the pieces of rank 1 are sizes. other is the
// side that the subject is compared with, empty where that is known already; turned tells that
// the subject is the side b.
func (f *found) words(other string, turned bool) []part {
	is := plural(len(f.sides()), "is ", "are ")
	if turned {
		is = "is "
	}
	lead := func(winner analysis.Verdict, other string) string {
		if turned {
			winner = otherSide(winner)
		}
		switch {
		case winner == analysis.VerdictA && other != "":
			return "ahead of " + other
		case winner == analysis.VerdictA:
			return "ahead"
		case other != "":
			return "behind " + other
		}
		return "behind"
	}
	switch f.outcome {
	case outcomePlaced:
		var out []part
		for i, p := range f.phases {
			text := is + lead(p.winner, other)
			switch {
			case i > 0 && i == len(f.phases)-1:
				text = " and " + lead(p.winner, "")
			case i > 0:
				text = ", " + lead(p.winner, "")
			}
			out = append(out, part{0, text}, part{1, f.sizes(p, turned)}, part{0, f.place(p)})
		}
		return out
	case outcomeAverage:
		var diffs []float64
		for _, x := range f.of {
			diffs = append(diffs, math.Abs(float64(x.Overall.Diff)))
		}
		text := " on the whole, with too few runs to say at which settings"
		if f.lone {
			text = " on the whole, though hardly a setting tells by itself"
		}
		return []part{{0, is + lead(f.winner, other) + f.by(f.winner, diffs, "about ", turned) + text}}
	case outcomeLevel:
		text := is + "level"
		if other != "" {
			text += " with " + other
		}
		text += " within " + Margin(f.of[0].Margin) + " %"
		if f.mean {
			text += " on average over the settings"
		}
		return []part{{0, text}}
	}
	text := "cannot be told"
	if other != "" {
		text += " from " + other
	} else {
		text += " apart"
	}
	if f.lone {
		text += " but at a single setting"
	}
	if n := f.advised(); n != "" {
		text += ": " + n + " of each at each setting are advised"
	}
	return []part{{0, text}}
}

// sizes is by how much a side is ahead: the least and the greatest difference at any of the
// settings.
func (f *found) sizes(p phase, turned bool) string {
	var diffs []float64
	for _, c := range f.of {
		for i := range c.Settings {
			s := &c.Settings[i]
			if s.Verdict == p.winner && slices.ContainsFunc(p.where, func(x stretch) bool { return x.holds(s) }) {
				diffs = append(diffs, math.Abs(float64(s.Diff)))
			}
		}
	}
	if len(diffs) == 0 {
		return ""
	}
	return f.by(p.winner, diffs, "", turned)
}

// by says how much a side is ahead or behind, as Lead does; where less is better what there
// is less or more of. Where the base is the subject, the others' shares stand for it.
func (f *found) by(winner analysis.Verdict, diffs []float64, about string, turned bool) string {
	c, amount := f.of[0], about+percentRange(diffs)
	switch {
	case turned && c.Better == "lower" && winner == analysis.VerdictB:
		return ", which take " + amount + " more" + ofWhat(c) + ","
	case turned && c.Better == "lower":
		return ", which take " + amount + " less" + ofWhat(c) + ","
	case turned && winner == analysis.VerdictB:
		return ", which are " + amount + " behind,"
	case turned:
		return ", which are " + amount + " ahead,"
	case c.Better != "lower":
		return " by " + amount
	case winner == analysis.VerdictA:
		return ", with " + amount + " less" + ofWhat(c) + ","
	case ofWhat(c) == "":
		return ", with " + amount + " more,"
	}
	return ", taking " + amount + " more" + ofWhat(c) + ","
}

func otherSide(v analysis.Verdict) analysis.Verdict {
	if v == analysis.VerdictA {
		return analysis.VerdictB
	}
	return analysis.VerdictA
}

// percentRange is ratios as "4 to 15 %": whole percents, tenths where one is below 1 %.
func percentRange(ratios []float64) string {
	least, most := 100*slices.Min(ratios), 100*slices.Max(ratios)
	places := 0
	if least < 1 {
		places = 1
	}
	from, to := Fixed(least, places), Fixed(most, places)
	if from == to {
		return to + " %"
	}
	return from + " to " + to + " %"
}

// place says where a side is ahead.
func (f *found) place(p phase) string {
	lowest, highest := analysis.Number(math.Inf(1)), analysis.Number(math.Inf(-1))
	for _, c := range f.of {
		for _, s := range c.Settings {
			if s.Shared() && s.SettingW.Known() {
				lowest, highest = min(lowest, s.SettingW), max(highest, s.SettingW)
			}
		}
	}
	list := p.where
	if len(list) > 2 && list[0].name == "" { // the two widest, in their order
		list = slices.Clone(list)
		slices.SortFunc(list, func(a, b stretch) int { return int(math.Copysign(1, float64((b.to-b.from)-(a.to-a.from)))) })
		list = list[:2]
		slices.SortFunc(list, func(a, b stretch) int { return int(math.Copysign(1, float64(a.from-b.from))) })
	}
	var words, names []string
	for _, s := range list {
		from, to := Watts(float64(s.from)), Watts(float64(s.to))
		switch {
		case s.name != "":
			names = append(names, s.name)
		case s.from <= lowest && s.to >= highest && s.from < s.to:
			words = append(words, "at every setting")
		case s.from == s.to:
			words = append(words, "at "+to+" W")
		case s.from <= lowest:
			words = append(words, "up to "+to+" W")
		case s.to >= highest:
			words = append(words, "from "+from+" W on")
		default:
			words = append(words, "from "+from+" to "+to+" W")
		}
	}
	if len(names) > 0 {
		words = append(words, "at "+Listed(names, 4))
	}
	return " " + strings.Join(words, " and ")
}

// advised is how many runs would tell, in words; empty where that is not known.
func (f *found) advised() string {
	least, most := 0, 0
	for _, c := range f.of {
		for _, s := range c.Settings {
			if s.Verdict == analysis.VerdictUnclear && s.MoreRuns != nil && *s.MoreRuns > 0 && *s.MoreRuns < manyRuns {
				if least == 0 {
					least = *s.MoreRuns
				}
				least, most = min(least, *s.MoreRuns), max(most, *s.MoreRuns)
			}
		}
	}
	switch {
	case most == 0:
		return ""
	case least == most:
		return Counted(most, "more run")
	}
	return fmt.Sprintf("%d to %d more runs", least, most)
}
