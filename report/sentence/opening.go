package sentence

import (
	"cmp"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"

	"sweepd/analysis"
)

// Opening is what a page opens with, in at most three sentences: who is ahead where, what to
// set, how long the battery lasts.
type Opening struct {
	// Comparisons are those of one or several sides with one other, as the page may claim
	// them, see analysis.Budget.
	Comparisons []*analysis.Comparison
	Subjects    []Subject // of whom it says what to set, and a floor or a cap
	Reserve     float64   // that the runtimes keep back
}

// Subject is a device, or a variant of one, with all that was found of it alone.
type Subject struct {
	Name    string // empty where the page has but one
	On      string // behind what is so of it: "on unit-oak", "with cores=6"
	Curves  []*analysis.CurveGroup
	Battery []*analysis.BatteryGroup
}

// Sentences are the opening as far as there is room for it, one for each question that the
// runs answer; an empty text where they do not.
func (o *Opening) Sentences(room Room) (ahead, set, lasts string) {
	choices := make([]choice, len(o.Subjects))
	for i := range o.Subjects {
		choices[i] = o.Subjects[i].choose()
	}
	drafts := [][]part{o.first(), o.set(choices), o.lasts(choices)}
	for i, d := range drafts {
		if len(d) > 0 {
			drafts[i] = append(d, part{slices.MinFunc(d, func(a, b part) int { return a.rank - b.rank }).rank, "."})
		}
	}
	texts := fit(drafts, room)
	if strings.Join(texts, "") == "" {
		return "There is too little to answer by: runs at several settings, each repeated, would tell.", "", ""
	}
	if texts[1] == "" && strings.HasPrefix(texts[2], there) {
		texts[2] = "" // where is not said
	}
	return texts[0], texts[1], texts[2]
}

// first is the sentence on who is ahead where, with what devices do not go to. Where a device
// is compared with itself on another supply, that comes first: it is why they differ.
func (o *Opening) first() []part {
	ahead, limits := o.who(), o.limits()
	switch {
	case limits == "":
		return ahead
	case len(ahead) == 0:
		return []part{{rankLead, begun(limits)}}
	case len(o.Comparisons) > 0 && o.Comparisons[0].Factor == "supply" && strings.Contains(limits, supplyWords("battery")):
		return append([]part{{rankLead, begun(limits) + "; at settings that it keeps to, "}}, ahead...)
	}
	return append(ahead, part{rankLimits, "; " + limits})
}

// begun begins a sentence: names of devices stay as they are.
func begun(text string) string {
	if strings.HasPrefix(text, "the ") {
		return Capital(text)
	}
	return text
}

// who is the sentence on who is ahead where; without comparisons how a single device's
// result goes with its settings.
func (o *Opening) who() []part {
	if len(o.Comparisons) > 0 {
		return whoIsAhead(o.Comparisons)
	}
	for _, s := range o.Subjects {
		if text := s.rises(); text != "" {
			return []part{{rankLead, text}}
		}
	}
	return nil
}

// rises says up to where the result gets better: from there on no setting can be told from
// the best in any of the workloads.
func (s *Subject) rises() string {
	curves := s.counting()
	from, to := analysis.Number(math.Inf(-1)), ""
	for _, c := range curves {
		b, last := &c.Best, c.Points[len(c.Points)-1]
		if !b.FromW.Known() || !last.Is(b.ToW, b.To) {
			return ""
		}
		begins := b.FromW
		if e := &c.Effective; e.CapW < begins { // all above the cap is the same
			begins = analysis.Number(math.Round(float64(e.CapW)))
		}
		from, to = max(from, begins), Setting(last.SettingW, last.Setting)
	}
	text := Setting(from, "")
	switch {
	case len(curves) == 0 || text == "":
		return ""
	case text == to:
		return onSupply(curves) + "the best result is at " + to + ", the highest setting tested"
	}
	return onSupply(curves) + "results get better up to " + text + "; more watts bring nothing measurable"
}

// onSupply begins a sentence on curves: in several workloads, and on which supply.
func onSupply(curves []*analysis.CurveGroup) string {
	var workloads, supplies, words []string
	for _, c := range curves {
		if !slices.Contains(workloads, c.Workload) {
			workloads = append(workloads, c.Workload)
		}
		if words := supplyWords(c.Supply); !slices.Contains(supplies, words) {
			supplies = append(supplies, words)
		}
	}
	if len(workloads) > 1 {
		words = append(words, "in "+allOf(len(workloads))+" workloads")
	}
	if len(supplies) == 1 {
		words = append(words, supplies[0])
	}
	if len(words) == 0 {
		return ""
	}
	return Capital(strings.Join(words, " ")) + ", "
}

// counting are the curves that settings are picked by: those on battery, which the watts
// empty, else those on mains, else all. One of a single setting tells nothing.
func (s *Subject) counting() []*analysis.CurveGroup {
	for _, supply := range []string{"battery", "mains", ""} {
		var list []*analysis.CurveGroup
		for _, c := range s.Curves {
			if c.Supply == supply && len(c.Points) > 1 {
				list = append(list, c)
			}
		}
		if len(list) > 0 {
			return list
		}
	}
	return nil
}

// limits say which devices do not go as low, or as high, as they were set.
func (o *Opening) limits() string {
	var words []string
	for _, s := range o.Subjects {
		var own []string
		for _, x := range []string{
			s.limit("no lower than ", func(e *analysis.Effective) analysis.Number { return e.FloorW }),
			s.limit("no higher than ", func(e *analysis.Effective) analysis.Number { return e.CapW }),
		} {
			if x != "" {
				own = append(own, x)
			}
		}
		if len(own) > 0 {
			verb := " "
			if len(words) == 0 {
				verb = " goes "
			}
			words = append(words, cmp.Or(s.Name, "the device")+verb+strings.Join(own, " and "))
		}
	}
	return strings.Join(words, ", ")
}

// limit is a floor or a cap of a device, by supply where it is not everywhere the same.
func (s *Subject) limit(words string, of func(*analysis.Effective) analysis.Number) string {
	bySupply := map[string][]float64{}
	for _, c := range s.Curves {
		list := bySupply[c.Supply]
		if w := of(&c.Effective); w.Known() {
			list = append(list, float64(w))
		}
		bySupply[c.Supply] = list
	}
	var texts, limited []string
	same := true
	for _, supply := range slices.Backward(slices.Sorted(maps.Keys(bySupply))) { // mains first
		list := bySupply[supply]
		if len(list) == 0 {
			same = false
			continue
		}
		text := roundWatts(slices.Min(list))
		if most := roundWatts(slices.Max(list)); most != text {
			text += " to " + most
		}
		text += " W"
		same = same && (len(texts) == 0 || texts[0] == text)
		texts, limited = append(texts, text), append(limited, supply)
	}
	switch {
	case len(texts) == 0:
		return ""
	case same:
		return words + texts[0]
	}
	for i := range texts {
		texts[i] += " " + supplyWords(limited[i])
	}
	return words + Listed(texts, 3)
}

// roundWatts is measured watts in a sentence: whole ones, tenths below 10.
func roundWatts(w float64) string {
	if w < 10 {
		return strconv.FormatFloat(math.Round(10*w)/10, 'f', -1, 64)
	}
	return Fixed(w, 0)
}

// A choice is what to set.
type choice struct {
	at       analysis.EfficiencyPoint // the most efficient setting; N is 0 where there is none
	lowest   bool                     // none lower was tested
	peaks    []string                 // without a setting that is among the most efficient of all workloads: the best of each
	share    float64                  // that is enough
	from, to analysis.Number          // the settings that may be the smallest that is enough; from is unknown where that is not known well
}

// choose finds the setting that is among the most efficient in all workloads, of several the
// one with the best mean, and where enough begins in all of them.
func (s *Subject) choose() choice {
	curves := s.counting()
	x := choice{from: analysis.Unknown(), to: analysis.Unknown()}
	var by []*analysis.Efficiency
	for _, c := range curves {
		if e := efficiencyOf(c); len(e.Points) > 1 && Setting(e.PeakW, e.Peak) != "" {
			by = append(by, e)
		}
	}
	best := math.Inf(-1)
	for i, e := range by {
		if peak := Setting(e.PeakW, e.Peak); !slices.Contains(x.peaks, peak) {
			x.peaks = append(x.peaks, peak)
		}
		if i > 0 {
			continue
		}
		for k, p := range e.Points {
			if mean, ok := efficientIn(by, p); ok && mean > best {
				best, x.at, x.lowest = mean, p, k == 0
			}
		}
	}
	x.enough(curves)
	return x
}

// efficientIn tells whether a setting is among the most efficient of all curves, and how
// its result per watt compares with theirs: the sum of ln(value/best).
func efficientIn(by []*analysis.Efficiency, p analysis.EfficiencyPoint) (sum float64, ok bool) {
	for _, e := range by {
		i := slices.IndexFunc(e.Points, func(q analysis.EfficiencyPoint) bool {
			return q.Plateau && q.Is(p.SettingW, p.Setting)
		})
		if i < 0 {
			return 0, false
		}
		most := slices.MaxFunc(e.Points, func(a, b analysis.EfficiencyPoint) int { return cmp.Compare(a.Value, b.Value) })
		sum += math.Log(float64(e.Points[i].Value / most.Value))
	}
	return sum, true
}

// enough joins the intervals of what is enough: what is enough in all workloads is the
// greatest of theirs.
func (x *choice) enough(curves []*analysis.CurveGroup) {
	least, most := math.Inf(1), math.Inf(-1)
	from, to := analysis.Number(math.Inf(-1)), analysis.Number(math.Inf(-1))
	for _, c := range curves {
		e := &c.Enough
		if !e.FromW.Known() {
			return
		}
		x.share = e.Share
		from = max(from, e.FromW)
		if !(to <= e.ToW) { // also where either is not known
			to = max(to, e.ToW)
		} else {
			to = e.ToW
		}
		for _, p := range c.Points {
			least, most = min(least, float64(p.SettingW)), max(most, float64(p.SettingW))
		}
	}
	if len(curves) == 0 || to.Known() && float64(to-from) > widestEnough*(most-least) {
		return
	}
	x.from, x.to = from, to
}

// set is the sentence on what to set, as it was chosen for each subject.
func (o *Opening) set(choices []choice) []part {
	n := len(o.Subjects)
	efficient, enough, share := make([]string, n), make([]string, n), 0.0
	var used []*analysis.CurveGroup
	for i, s := range o.Subjects {
		x := &choices[i]
		efficient[i] = x.efficient()
		if enough[i] = x.isEnough(); enough[i] != "" {
			share = x.share
		}
		used = append(used, s.counting()...)
	}
	if len(used) == 0 {
		return nil
	}
	begin := onSupply(used)
	var out []part
	if text := ofEach(o.Subjects, efficient); text != "nothing" {
		is := "is "
		if strings.Contains(text, " and ") {
			is = "are "
		}
		out = append(out, part{rankSet, begin + mostEfficient(begin) + is + text})
		begin = "; "
	}
	subjects := o.Subjects
	if len(out) > 0 {
		subjects = o.unnamed()
	}
	if text := ofEach(subjects, enough); text != "nothing" {
		out = append(out, part{rankEnough, begin + Fixed(100*share, 0) + " % of the best takes " + text})
	}
	return out
}

// unnamed are the subjects where they were named before: a single one is not named again.
func (o *Opening) unnamed() []Subject {
	list := slices.Clone(o.Subjects)
	if len(list) == 1 {
		list[0].On = ""
	}
	return list
}

// efficient is the most efficient setting in words, empty where it is not known.
func (x *choice) efficient() string {
	switch {
	case x.at.N > 0 && x.lowest && x.at.SettingW.Known():
		return Setting(x.at.SettingW, x.at.Setting) + " (the lowest tested)"
	case x.at.N > 0:
		return Setting(x.at.SettingW, x.at.Setting)
	case len(x.peaks) > 0:
		return strings.Join(x.peaks, " or ") + " (by workload)"
	}
	return ""
}

// isEnough is what is enough in words, empty where it is not known well.
func (x *choice) isEnough() string {
	from, to := Watts(float64(x.from)), Watts(float64(x.to))
	switch {
	case !x.from.Known():
		return ""
	case !x.to.Known():
		return "at least " + from + " W"
	case from == to:
		return to + " W"
	}
	return from + " to " + to + " W"
}

// mostEfficient begins a sentence, or goes on with one.
func mostEfficient(begun string) string {
	if begun == "" {
		return "Most efficient "
	}
	return "most efficient "
}

// ofEach says what is so of each of the subjects: "8 W on unit-elm and 12 W on unit-oak",
// "8 W on both".
func ofEach(subjects []Subject, texts []string) string {
	var words []string
	same := len(subjects) > 1
	for i, s := range subjects {
		same = same && texts[i] != "" && texts[i] == texts[0]
		if texts[i] != "" {
			words = append(words, strings.TrimSpace(texts[i]+" "+s.On))
		}
	}
	if same {
		return texts[0] + " on " + allOf(len(subjects))
	}
	return Listed(words, 2)
}

// inTurn are texts in the order of the subjects, which were named before.
func inTurn(texts []string) string {
	if len(texts) == 2 && texts[0] == texts[1] {
		return texts[0] + " on both"
	}
	return Listed(texts, 2)
}

// there stands for the most efficient settings, which were named before.
const there = "At peak efficiency"

// lasts is the sentence on how long the battery lasts: at the most efficient settings, where
// enough surely begins, and at the highest.
func (o *Opening) lasts(choices []choice) []part {
	n := len(o.Subjects)
	efficient, top, enough, enoughAt, ends := make([]string, n), make([]string, n), make([]string, n), make([]string, n), make([]string, n)
	highest, batteries, atHighest := "", false, true
	setting := ""
	for i, s := range o.Subjects {
		x := &choices[i]
		batteries = batteries || len(s.Battery) > 0
		if x.at.N > 0 {
			efficient[i] = s.lastsAt(x.at.SettingW, x.at.Setting)
		}
		if x.to.Known() {
			enough[i], enoughAt[i] = s.lastsAt(x.to, ""), Watts(float64(x.to))
		}
		low, lowAt := s.end(0)
		high, highAt := s.end(-1)
		if low != "" && high != "" {
			ends[i] = low + " at " + lowAt + " and " + high + " at " + highAt
		}
		if i == 0 {
			highest = highAt
		}
		if highAt == highest {
			top[i] = high
		}
		chosen := Setting(x.at.SettingW, x.at.Setting)
		atHighest = atHighest && chosen == highest
		switch at := "At " + chosen; {
		case i == 0:
			setting = at
		case at != setting:
			setting = there
		}
	}
	down := ""
	if o.Reserve > 0 {
		down = ", down to " + Percent(o.Reserve)
	}
	all := func(texts []string) bool { return n > 0 && !slices.Contains(texts, "") }
	switch {
	case !batteries:
		return nil
	case all(efficient):
	case ofEach(o.Subjects, ends) == "nothing":
		return []part{{rankRuntime, "How long a battery lasts cannot be told: what it holds when full is not known"}}
	default:
		return []part{{rankRuntime, "A full battery lasts " + ofEach(o.Subjects, ends) + down}}
	}
	out := []part{{rankRuntime, setting + " a full battery lasts " + ofEach(o.unnamed(), efficient) + down}}
	if all(enough) && !slices.Equal(enough, top) {
		out = append(out, part{rankBetween, "; at " + Listed(slices.Compact(enoughAt), 2) + " W, " + inTurn(enough)})
	}
	if all(top) && !atHighest {
		out = append(out, part{rankLongest, "; at " + highest + ", " + inTurn(top)})
	}
	return out
}

// lastsAt is how long a full battery lasts at a setting, in all workloads; empty where that
// is not known. Workloads that differ by less than 3 % are one, and the shortest is said.
func (s *Subject) lastsAt(watts analysis.Number, name string) string {
	var list []analysis.Number
	for _, g := range s.Battery {
		i := slices.IndexFunc(g.Points, func(p analysis.BatteryPoint) bool { return p.Is(watts, name) })
		if i < 0 || !g.Points[i].RuntimeH.Known() {
			return ""
		}
		list = append(list, g.Points[i].RuntimeH)
	}
	if len(list) == 0 {
		return ""
	}
	from, to := slices.Min(list), slices.Max(list)
	if to <= (1+alikeRuntimes)*from {
		return Clock(from)
	}
	return Clock(from) + " to " + Clock(to)
}

// alikeRuntimes is the relative difference below which runtimes are said as one. Common
// practice, no source.
const alikeRuntimes = 0.03

// end is how long a full battery lasts at the first or, at -1, the last setting, and which
// that is.
func (s *Subject) end(i int) (lasts, at string) {
	if len(s.Battery) == 0 {
		return "", ""
	}
	points := s.Battery[0].Points
	if i < 0 {
		i = len(points) - 1
	}
	end := points[i]
	return s.lastsAt(end.SettingW, end.Setting), Setting(end.SettingW, end.Setting)
}
