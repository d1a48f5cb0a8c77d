package report

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"sweepd/analysis"
	"sweepd/report/sentence"
)

// Titles of charts state what was found, and no more than the top of the page may: they are
// worded from the claims of the study.

// lead is what may be said of who is ahead in a comparison.
type lead struct {
	bands   []analysis.Claim // in the order of the settings, but for lone ones, see sentence.Lone
	lone    []analysis.Claim
	overall *analysis.Claim
	places  leadPlaces
}

// leadPlaces says where bands lie among the settings that both sides have.
type leadPlaces struct {
	settings []analysis.SettingComparison
	kept     int // how many of them both sides keep to, as far as is known
}

func (b *builder) leadOf(c *analysis.Comparison) lead {
	var l lead
	for _, s := range c.Settings {
		if !s.Shared() {
			continue
		}
		l.places.settings = append(l.places.settings, s)
		if s.Counts() {
			l.places.kept++
		}
	}
	var bands []analysis.Claim
	for _, k := range b.claimsOf(c) {
		switch k.Kind {
		case analysis.ClaimBand:
			bands = append(bands, *k)
		case analysis.ClaimOverall:
			l.overall = k
		}
	}
	kept := leadPlaces{settings: slices.DeleteFunc(slices.Clone(l.places.settings), func(s analysis.SettingComparison) bool { return !s.Counts() })}
	for i, k := range bands {
		from, to := kept.of(k)
		beside := i > 0 && kept.to(bands[i-1]) == from-1 || i < len(bands)-1 && kept.from(bands[i+1]) == to+1
		if sentence.Lone(from, to, len(kept.settings), beside, sentence.Everywhere(c, b.opened, k.FromW, k.From, k.Verdict)) {
			l.lone = append(l.lone, k)
		} else {
			l.bands = append(l.bands, k)
		}
	}
	return l
}

// of are the numbers of a claim's first and last setting.
func (p leadPlaces) of(k analysis.Claim) (from, to int) { return p.from(k), p.to(k) }

func (p leadPlaces) from(k analysis.Claim) int {
	return slices.IndexFunc(p.settings, func(s analysis.SettingComparison) bool { return s.Is(k.FromW, k.From) })
}

func (p leadPlaces) to(k analysis.Claim) int {
	return slices.IndexFunc(p.settings, func(s analysis.SettingComparison) bool { return s.Is(k.ToW, k.To) })
}

// words say where a claim holds: "from 21 W on", "up to 12 W", "at every setting".
func (p leadPlaces) words(k analysis.Claim) string {
	from, to := p.of(k)
	first, last := sentence.Setting(k.FromW, k.From), sentence.Setting(k.ToW, k.To)
	n := len(p.settings)
	switch {
	case n > 1 && from == 0 && to == n-1:
		return "at every setting"
	case n > 1 && to-from+1 == p.kept && p.kept < n:
		return "at every setting that both keep to"
	case from == to:
		return "at " + cmp.Or(first, "an unknown setting")
	case to == n-1 && k.FromW.Known():
		return "from " + first + " on"
	case from == 0 && k.FromW.Known():
		return "up to " + last
	}
	return "from " + first + " to " + last
}

// mostPlaces is how many places of one kind a title names.
const mostPlaces = 3

// leadTitle says in a title who is ahead where.
func (b *builder) leadTitle(c *analysis.Comparison) string {
	l := b.leadOf(c)
	title := l.title(c) + l.besides(c)
	if of := ofDevice(c); of != "" {
		return of + title
	}
	if len(l.bands) == 0 && l.overall == nil { // else a device's name comes first, as it is
		return sentence.Capital(title)
	}
	return title
}

// ofDevice begins a title of a comparison that is not of devices.
func ofDevice(c *analysis.Comparison) string {
	if words := sentence.Joined(sentence.OrEmpty(c.Device), sentence.OrEmpty(c.Variant)); words != "" && c.Factor != "device" {
		return words + ": "
	}
	return ""
}

// sideWords are a comparison's sides in the words of a title.
func sideWords(c *analysis.Comparison, v analysis.Verdict) string {
	name := sentence.Winner(c, v)
	if c.Factor == "supply" && name == "battery" {
		return "on battery"
	}
	if c.Factor == "supply" {
		return "on mains"
	}
	return name
}

// placeWords say in a title what is so at a place.
func placeWords(c *analysis.Comparison, v analysis.Verdict, where string) string {
	switch {
	case v == analysis.VerdictTie:
		return "level " + where
	case c.Factor == "supply":
		return betterWord(c) + " " + sideWords(c, v) + " " + where
	}
	return sideWords(c, v) + " ahead " + where
}

func (l *lead) title(c *analysis.Comparison) string {
	var order []analysis.Verdict
	places := map[analysis.Verdict][]string{}
	for _, k := range l.bands {
		if len(places[k.Verdict]) == 0 {
			order = append(order, k.Verdict)
		}
		places[k.Verdict] = append(places[k.Verdict], l.places.words(k))
	}
	var parts []string
	for _, v := range order {
		where := sentence.Listed(places[v], mostPlaces)
		if v == analysis.VerdictTie && len(order) == 1 {
			return fmt.Sprintf("%s and %s level within %s %% %s", sideWords(c, analysis.VerdictA), sideWords(c, analysis.VerdictB), sentence.Margin(c.Margin), where)
		}
		parts = append(parts, placeWords(c, v, where))
	}
	if len(parts) > 0 {
		return strings.Join(parts, ", ")
	}
	switch {
	case l.overall == nil:
		return "no difference told between " + sentence.Side(c.A) + " and " + sentence.Side(c.B)
	case l.overall.Verdict == analysis.VerdictTie:
		return fmt.Sprintf("%s and %s level within %s %% on average", sentence.Side(c.A), sentence.Side(c.B), sentence.Margin(c.Margin))
	}
	return fmt.Sprintf("%s ahead on average over the settings; %s", sentence.Winner(c, l.overall.Verdict), l.notWhere())
}

// besides says what lone settings show that the picture shows, too.
func (l *lead) besides(c *analysis.Comparison) string {
	mean := len(l.bands) == 0 && l.overall != nil && l.overall.Verdict != analysis.VerdictTie // says where itself
	if len(l.lone) == 0 || len(l.lone) > mostPlaces || mean {
		return ""
	}
	var parts []string
	for _, k := range l.lone {
		parts = append(parts, placeWords(c, k.Verdict, l.places.words(k)))
	}
	only := " alone"
	if len(l.bands) > 0 {
		return ", " + strings.Join(parts, ", ") + only
	}
	return ", but " + strings.Join(parts, ", ") + only
}

// notWhere says of a mean that it is told of no stretch of settings.
func (l *lead) notWhere() string {
	var at []string
	for _, k := range l.lone {
		if k.Verdict == l.overall.Verdict {
			at = append(at, sentence.Setting(k.FromW, k.From))
		}
	}
	if len(at) == 0 {
		return "too few runs to say where"
	}
	return "too few runs to say at which besides " + sentence.Listed(at, mostPlaces)
}

// betterWord is what the better of two results of one device is.
func betterWord(c *analysis.Comparison) string {
	if c.Better == "lower" {
		return "better"
	}
	return "higher"
}

// differenceTitle says by how much the first side is ahead or behind, and where.
func (b *builder) differenceTitle(c *analysis.Comparison) string {
	l := b.leadOf(c)
	name := sentence.Side(c.A)
	var parts []string
	level := true
	for _, k := range l.bands {
		parts = append(parts, l.amountAt(c, k))
		level = level && k.Verdict == analysis.VerdictTie
	}
	switch {
	case len(parts) > mostPlaces || len(parts) > 0 && level:
		return b.leadTitle(c)
	case len(parts) > 0:
		return ofDevice(c) + name + " " + strings.Join(parts, ", ") + l.besides(c)
	case l.overall != nil && l.overall.Verdict != analysis.VerdictTie:
		return ofDevice(c) + name + " " + amount(c, *l.overall) + " on average; " + l.notWhere()
	}
	return b.leadTitle(c)
}

// amountAt says where a band is and how far the sides differ there: of several settings on
// average, since the difference is another one at each.
func (l *lead) amountAt(c *analysis.Comparison, k analysis.Claim) string {
	where := l.places.words(k)
	from, to := l.places.of(k)
	switch {
	case k.Verdict == analysis.VerdictTie || from == to:
		return amount(c, k) + " " + where
	case len(l.bands) == 1 && strings.HasPrefix(where, "at every setting"):
		return aheadOrBehind(&k) + " " + where + ", by " + percentOff(&k) + " on average"
	}
	return amount(c, k) + " on average " + where
}

// amount is how far a side differs from the other, as a share of that.
func amount(c *analysis.Comparison, k analysis.Claim) string {
	if k.Verdict == analysis.VerdictTie {
		return "level within " + sentence.Margin(c.Margin) + " %"
	}
	return aheadOrBehind(&k) + " by " + percentOff(&k)
}

// ranking says in a title how a device stands against several others.
func (b *builder) ranking(reference string, list []*analysis.Comparison) string {
	var ahead, behind, mixed, open []string
	for _, c := range list {
		l := b.leadOf(c)
		has := map[analysis.Verdict]bool{}
		for _, k := range l.bands {
			has[k.Verdict] = true
		}
		if len(l.bands) == 0 && l.overall != nil {
			has[l.overall.Verdict] = true
		}
		other := sentence.Side(c.A)
		switch a, b := has[analysis.VerdictA], has[analysis.VerdictB]; {
		case a && b:
			mixed = append(mixed, other)
		case a:
			behind = append(behind, other)
		case b:
			ahead = append(ahead, other)
		default:
			open = append(open, other)
		}
	}
	var parts []string
	for _, p := range []struct {
		names []string
		words string
	}{{ahead, "ahead of "}, {behind, "behind "}, {mixed, "the lead changes with "}, {open, "no lead told over "}} {
		if len(p.names) > 0 {
			parts = append(parts, p.words+sentence.Listed(p.names, mostPlaces))
		}
	}
	return reference + " " + strings.Join(parts, ", ")
}

// curveClaims are the claims on one curve.
func (b *builder) curveClaims(metric string, g *analysis.CurveGroup) []analysis.Claim {
	var list []analysis.Claim
	for _, k := range b.study.Claims {
		if k.Factor == "" && k.Metric == metric && k.Workload == g.Workload && *k.Device == g.Device && *k.Supply == g.Supply && *k.Variant == g.Variant {
			list = append(list, k)
		}
	}
	return list
}

// followedTitle says which settings a device follows, where it does not follow all; "" else.
func followedTitle(name string, g *analysis.CurveGroup, claims []analysis.Claim) string {
	e := g.Effective
	if !slices.ContainsFunc(claims, func(k analysis.Claim) bool { return k.Kind == analysis.ClaimFloor || k.Kind == analysis.ClaimCap }) {
		return ""
	}
	return fmt.Sprintf("%s follows %s to %s W only", name, sentence.Watts(float64(e.FromW)), sentence.Watts(float64(e.ToW)))
}

// curveTitle says what was found of one curve.
func (b *builder) curveTitle(t *Topic, g *analysis.CurveGroup) string {
	name := b.legend.name(g.Device, g.Variant)
	claims := b.curveClaims(t.Metric, g)
	var parts []string
	if text := followedTitle(name, g, claims); text != "" {
		parts = append(parts, text)
	}
	for _, k := range claims {
		switch at := sentence.Setting(k.FromW, k.From); k.Kind {
		case analysis.ClaimDip:
			parts = append(parts, "a dip at "+at)
		case analysis.ClaimFall:
			parts = append(parts, "a fall above "+at)
		}
	}
	if text := sentence.EnoughTold(g); text != "" {
		parts = append(parts, text)
	}
	if len(parts) == 0 {
		parts = append(parts, bestTitle(g))
	}
	text := strings.Join(parts[:min(len(parts), mostPlaces)], "; ")
	if strings.HasPrefix(text, name) {
		return text
	}
	return name + ": " + text
}

// bestTitle says where a curve has its best result.
func bestTitle(g *analysis.CurveGroup) string {
	x := &g.Best
	from, to := sentence.Setting(x.FromW, x.From), sentence.Setting(x.ToW, x.To)
	switch {
	case len(g.Points) < 2 || from == "":
		return "the result"
	case from == to:
		return "the best result at " + from
	case g.Points[len(g.Points)-1].Is(x.ToW, x.To) && x.FromW.Known():
		return "no setting told from the best from " + from + " on"
	}
	return "no setting told from the best from " + from + " to " + to
}

// curvesTitle says what was found of the curves of one chart: who is ahead where they were
// compared, else what each does.
func (b *builder) curvesTitle(t *Topic, workload, supply string, groups []*analysis.CurveGroup) string {
	if c := b.onlyComparison(t, workload, supply, groups); c != nil {
		return b.leadTitle(c)
	}
	if t.Device != nil && t.Reference != "" {
		var list []*analysis.Comparison
		for i := range t.Device.Comparisons {
			c := &t.Device.Comparisons[i]
			if c.Workload == workload && sentence.OrEmpty(c.Supply) == supply && slices.ContainsFunc(groups, func(g *analysis.CurveGroup) bool { return g.Device == c.A && matches(c.Variant, g.Variant) }) {
				list = append(list, c)
			}
		}
		if len(list) > 0 {
			return b.ranking(t.Reference, list)
		}
	}
	return listedTitles(groups, func(g *analysis.CurveGroup) string { return b.curveTitle(t, g) })
}

// curveLine is the subtitle of a chart of results: what is drawn, of what, in which unit.
func curveLine(t *Topic, workload, supply string) string {
	return sentence.Joined(workload+" "+onSupply(supply)+": "+sentence.MetricWords(t.Metric, t.Curve.Unit)) + ", against the setting; " + t.Curve.Better + " is better"
}

// compareLine is the same for a comparison.
func compareLine(c *analysis.Comparison, unit, what string) string {
	return sentence.Joined(c.Workload, conditions(c)) + ": " + what + sentence.MetricWords(c.Metric, unit) + ", against the setting; " + c.Better + " is better"
}

// listedTitles puts what is said of each of a few things in one title.
func listedTitles[T any](list []T, words func(T) string) string {
	const most = 2
	var parts []string
	for _, x := range list {
		if text := words(x); text != "" {
			parts = append(parts, text)
		}
	}
	if len(parts) > most {
		return fmt.Sprintf("%s; %d more", strings.Join(parts[:most], "; "), len(parts)-most)
	}
	return strings.Join(parts, "; ")
}
