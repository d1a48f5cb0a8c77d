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
	Subjects    []Subject // of whom it says what to set
	Limited     []Subject // of whom it says a floor or a cap
	Reserve     float64   // that the runtimes keep back
}

// Subject is a device, or a variant of one, with all that was found of it alone.
type Subject struct {
	Name    string
	Curves  []Curved
	Battery []*analysis.BatteryGroup
}

// Curved is a curve with the result that it is of.
type Curved struct {
	Result *analysis.CurveResult
	Group  *analysis.CurveGroup
}

// Sentences are the opening as far as there is room for it, one for each question that the
// runs answer; an empty text where they do not.
func (o *Opening) Sentences(room Room) (ahead, set, lasts string) {
	drafts := [][]part{append(o.who(), o.limits()...), o.set(), o.lasts()}
	for i, d := range drafts {
		if len(d) > 0 {
			drafts[i] = append(d, part{slices.MinFunc(d, func(a, b part) int { return a.rank - b.rank }).rank, "."})
		}
	}
	texts := fit(drafts, room)
	return texts[0], texts[1], texts[2]
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
		b, last := &c.Group.Best, c.Group.Points[len(c.Group.Points)-1]
		if !b.FromW.Known() || !last.Is(b.ToW, b.To) {
			return ""
		}
		from, to = max(from, b.FromW), Setting(last.SettingW, last.Setting)
	}
	text := Setting(from, "")
	switch {
	case len(curves) == 0 || text == "":
		return ""
	case text == to:
		return onSupply(curves) + "the best result is at " + to + ", the highest setting tested"
	}
	return onSupply(curves) + "results get better up to " + text + "; from there on no setting can be told from the best"
}

// onSupply begins a sentence on curves of one supply.
func onSupply(curves []Curved) string {
	text := Capital(supplyWords(curves[0].Group.Supply))
	for _, c := range curves {
		if c.Group.Supply != curves[0].Group.Supply {
			return ""
		}
	}
	return text + ", "
}

// counting are the curves that settings are picked by: those on battery, which the watts
// empty, else those on mains, else all. One of a single setting tells nothing.
func (s *Subject) counting() []Curved {
	for _, supply := range []string{"battery", "mains", ""} {
		var list []Curved
		for _, c := range s.Curves {
			if c.Group.Supply == supply && len(c.Group.Points) > 1 {
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
func (o *Opening) limits() []part {
	var words []string
	for _, s := range o.Limited {
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
			words = append(words, cmp.Or(s.Name, "it")+verb+strings.Join(own, " and "))
		}
	}
	if len(words) == 0 {
		return nil
	}
	return []part{{rankLimits, "; " + strings.Join(words, ", ")}}
}

// limit is a floor or a cap of a device, by supply where it is not everywhere the same.
func (s *Subject) limit(words string, of func(*analysis.Effective) analysis.Number) string {
	bySupply := map[string][]float64{}
	for _, c := range s.Curves {
		list := bySupply[c.Group.Supply]
		if w := of(&c.Group.Effective); w.Known() {
			list = append(list, float64(w))
		}
		bySupply[c.Group.Supply] = list
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
		if e := efficiencyOf(c.Group); len(e.Points) > 1 && Setting(e.PeakW, e.Peak) != "" {
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
func (x *choice) enough(curves []Curved) {
	least, most := math.Inf(1), math.Inf(-1)
	from, to := analysis.Number(math.Inf(-1)), analysis.Number(math.Inf(-1))
	for _, c := range curves {
		e := &c.Group.Enough
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
		for _, p := range c.Group.Points {
			least, most = min(least, float64(p.SettingW)), max(most, float64(p.SettingW))
		}
	}
	if len(curves) == 0 || to.Known() && float64(to-from) > widestEnough*(most-least) {
		return
	}
	x.from, x.to = from, to
}

// set is the sentence on what to set.
func (o *Opening) set() []part {
	var efficient, enough []string
	share := 0.0
	var used []Curved
	for _, s := range o.Subjects {
		x := s.choose()
		switch {
		case x.at.N > 0:
			text := Setting(x.at.SettingW, x.at.Setting)
			if x.lowest && x.at.SettingW.Known() {
				text += " (the lowest tested)"
			}
			efficient = append(efficient, text+s.on())
		case len(x.peaks) > 0:
			efficient = append(efficient, strings.Join(x.peaks, " or ")+" (by workload)"+s.on())
		}
		if x.from.Known() {
			text := Watts(float64(x.from)) + " W"
			switch {
			case !x.to.Known():
				text = "at least " + text
			case x.to > x.from:
				text = Watts(float64(x.from)) + " to " + Watts(float64(x.to)) + " W"
			}
			enough, share = append(enough, text+s.on()), x.share
		}
		used = append(used, s.counting()...)
	}
	if len(efficient)+len(enough) == 0 {
		return nil
	}
	begin := onSupply(used)
	var out []part
	if len(efficient) > 0 {
		out = append(out, part{rankSet, begin + mostEfficient(begin) + plural(len(efficient), "is ", "are ") + Listed(efficient, 2)})
		begin = "; "
	}
	if len(enough) > 0 {
		out = append(out, part{rankEnough, begin + Fixed(100*share, 0) + " % of the best result takes " + Listed(enough, 2)})
	}
	return out
}

// mostEfficient begins a sentence, or goes on with one.
func mostEfficient(begun string) string {
	if begun == "" {
		return "Most efficient "
	}
	return "most efficient "
}

// on names a device behind what is said of it.
func (s *Subject) on() string {
	if s.Name == "" {
		return ""
	}
	return " on " + s.Name
}

// lasts is the sentence on how long the battery lasts: at the most efficient settings, at the
// highest, and where enough surely begins.
func (o *Opening) lasts() []part {
	var there, top, enough, enoughAt, ends []string
	highest, known, batteries := "", true, false
	for _, s := range o.Subjects {
		x := s.choose()
		batteries = batteries || len(s.Battery) > 0
		at := s.lastsAt(func(p analysis.BatteryPoint) bool {
			return x.at.N > 0 && p.Is(x.at.SettingW, x.at.Setting)
		})
		if at == "" {
			known = false
		}
		there = append(there, at+s.on())
		low, low0 := s.end(0)
		high, high0 := s.end(-1)
		if low != "" {
			ends = append(ends, low+" at "+low0+" and "+high+" at "+high0+s.on())
		}
		if highest == "" {
			highest = high0
		}
		if high0 == highest {
			top = append(top, high)
		}
		if x.to.Known() {
			if text := s.lastsAt(func(p analysis.BatteryPoint) bool { return p.SettingW == x.to }); text != "" {
				enough, enoughAt = append(enough, text), append(enoughAt, Watts(float64(x.to)))
			}
		}
	}
	down := ""
	if o.Reserve > 0 {
		down = ", down to " + Percent(o.Reserve)
	}
	n := len(o.Subjects)
	switch {
	case !batteries:
		return nil
	case !known && len(ends) == 0:
		return []part{{rankRuntime, "How long a battery lasts cannot be told: what it holds when full is not known"}}
	case !known:
		return []part{{rankRuntime, "A full battery lasts " + Listed(ends, 2) + down}}
	}
	where := "At that setting"
	if n > 1 {
		where = "At these settings"
	}
	out := []part{{rankRuntime, where + " a full battery lasts " + Listed(there, 2) + down}}
	if len(top) == n {
		out = append(out, part{rankLongest, "; at " + highest + ", " + Listed(top, 2)})
	}
	if len(enough) == n {
		out = append(out, part{rankBetween, "; at " + Listed(enoughAt, 2) + " W, " + Listed(enough, 2)})
	}
	return out
}

// lastsAt is how long a full battery lasts at a setting, in all workloads; empty where that
// is not known. Workloads that differ by less than 3 % are one, and the shortest is said.
func (s *Subject) lastsAt(at func(analysis.BatteryPoint) bool) string {
	var list []analysis.Number
	for _, g := range s.Battery {
		i := slices.IndexFunc(g.Points, at)
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
	return s.lastsAt(func(p analysis.BatteryPoint) bool { return p.Is(end.SettingW, end.Setting) }), Setting(end.SettingW, end.Setting)
}
