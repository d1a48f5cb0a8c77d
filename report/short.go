package report

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	"sweepd/analysis"
	"sweepd/report/sentence"
	"sweepd/run"
)

// howMany says how many runs there are, and how many of them are in no number and
// why.
func (b *builder) howMany() string {
	text := sentence.Counted(max(len(b.in.Runs), len(b.study.runs)), "run")
	without := 0
	for i := range b.study.runs {
		if !slices.ContainsFunc(b.study.Topics, func(t Topic) bool { _, ok := b.study.runs[i].Results[t.Metric]; return ok }) {
			without++
		}
	}
	states, doubtful := map[string]int{}, 0
	for i := range b.in.Runs {
		r := &b.in.Runs[i]
		switch {
		case r.State != run.Finished:
			states[string(r.State)]++
		case len(r.Results) > 0 && slices.ContainsFunc(r.Findings, func(f run.Finding) bool { return f.Severity == run.SeverityDoubt }):
			doubtful++
		}
	}
	var out []string
	for _, state := range slices.Sorted(maps.Keys(states)) {
		out = append(out, fmt.Sprintf("%d %s", states[state], state))
	}
	if without > 0 && len(b.study.Topics) > 0 {
		out = append(out, fmt.Sprintf("%d without a result", without))
	}
	if doubtful > 0 {
		out = append(out, fmt.Sprintf("%d counted with a doubt", doubtful))
	}
	if len(out) > 0 {
		text += " (" + strings.Join(out, ", ") + ")"
	}
	return text
}

// short is what a reader takes home: one section for each question.
func (b *builder) short() []Section {
	var list []Section
	for _, s := range []Section{b.whoIsAhead(), b.notFollowed(), b.offTrend(), b.whatToSet(), b.onBattery(), b.howLong(), b.whatVariantsGive(), b.whatMoneyBuys(), b.notDecided(), b.reservations()} {
		if len(s.Sentences) > 0 {
			list = append(list, s)
		}
	}
	return list
}

// brackets say how the intervals hold, and how many comparisons were made: the
// more there are, the more of them miss by chance.
func (b *builder) brackets() string {
	text := "Two numbers in brackets are the ends of a 95 % interval."
	if slices.ContainsFunc(b.study.Topics, func(t Topic) bool {
		return slices.ContainsFunc(t.Curve.Groups, func(g analysis.CurveGroup) bool { return g.Efficiency.FromW != g.Efficiency.ToW })
	}) {
		text += " Settings are about as good (a plateau) where they are less than 5 % worse than the best or cannot be told from it."
	}
	n, advised := 0, false
	for i := range b.study.Topics {
		for _, r := range b.study.Topics[i].comparisons() {
			n += len(r.Comparisons)
			advised = advised || sentence.Advises(r)
		}
	}
	switch {
	case n == 1:
		text += " The page makes 1 comparison; its intervals hold at all its settings together."
	case n > 1:
		text += fmt.Sprintf(" The page makes %d comparisons; what the answers say of them holds for all of them together, the intervals of a table at all its settings together.", n)
	}
	if advised {
		text += " " + sentence.Advised
	}
	return text
}

// claimed are the sentences of a comparison that settle something, within the error
// budget of the page.
func (b *builder) claimed(c *analysis.Comparison) []sentence.Sentence {
	return sentence.Settled(b.study.claimable(c))
}

func (b *builder) whoIsAhead() Section {
	s := Section{ID: answerAhead, Title: "Who is ahead"}
	for _, t := range b.study.Topics {
		if t.Device == nil {
			continue
		}
		if t.Reference != "" {
			s.say(t.Metric, sentence.Sentence{Text: "The others are compared with " + t.Reference + "."})
		}
		for i := range t.Device.Comparisons {
			c := &t.Device.Comparisons[i]
			about := sentence.Joined(c.Workload, conditions(c))
			if severalPairs(t.Device.Comparisons) {
				about += ", " + sentence.Side(c.A) + " and " + sentence.Side(c.B)
			}
			s.sayOf(about, b.link(c, asResult), b.claimed(c)...)
		}
		if t.AtPackage == nil {
			continue
		}
		for i := range t.AtPackage.Comparisons {
			c := &t.AtPackage.Comparisons[i]
			about := sentence.Joined(c.Workload, conditions(c), "at equal package watts")
			if severalPairs(t.AtPackage.Comparisons) {
				about += ", " + sentence.Side(c.A) + " and " + sentence.Side(c.B)
			}
			s.sayOf(about, b.link(c, asResult), b.claimed(c)...)
		}
	}
	return s
}

// severalPairs tells whether a comparison has to name its sides.
func severalPairs(list []analysis.Comparison) bool {
	return slices.ContainsFunc(list, func(c analysis.Comparison) bool { return c.A != list[0].A || c.B != list[0].B })
}

// offTrend says of every curve where its results dip or fall, by more than the noise of all
// curves of the page lets expect, and what results alone tell of settings not kept; what the
// package's watts tell of those is in a section of its own.
func (b *builder) offTrend() Section {
	s := Section{Title: "Dips, drops and settings without effect"}
	for i := range b.study.Claims {
		k := &b.study.Claims[i]
		if k.Factor == "" && k.Source != analysis.RangeFromPackage {
			about := sentence.Joined(k.Workload, b.legend.name(*k.Device, *k.Variant), onSupply(*k.Supply))
			s.say(about, sentence.OnCurve(k))
		}
	}
	return s
}

func (b *builder) whatToSet() Section {
	s := Section{ID: answerSet, Title: "What to set"}
	for _, t := range b.study.Topics {
		for i := range t.Curve.Groups {
			g := &t.Curve.Groups[i]
			if text := sentence.ToSet(&t.Curve, g); text != "" {
				about := sentence.Joined(g.Workload, b.legend.name(g.Device, g.Variant), onSupply(g.Supply))
				s.sayOf(about, b.link(g, asEfficiency), sentence.Sentence{Text: text})
			}
		}
	}
	return s
}

func (b *builder) onBattery() Section {
	s := Section{ID: answerBattery, Title: "What changes on battery"}
	for _, t := range b.study.Topics {
		if t.Supply == nil {
			continue
		}
		for i := range t.Supply.Comparisons {
			c := &t.Supply.Comparisons[i]
			s.sayOf(sentence.Joined(c.Workload, conditions(c)), b.link(c, asResult), append(sentence.CapBySupply(&t.Curve, c), b.claimed(c)...)...)
		}
	}
	return s
}

// runtime says how long the battery lasts, at the settings that the curve of the same runs
// speaks for.
func (b *builder) runtime(g *analysis.BatteryGroup) []sentence.Sentence {
	var curve *analysis.CurveGroup
	for i := range b.study.Topics {
		for k := range b.study.Topics[i].Curve.Groups {
			if x := &b.study.Topics[i].Curve.Groups[k]; x.Workload == g.Workload && x.Device == g.Device && x.Variant == g.Variant && x.Supply == string(run.Battery) {
				curve = x
			}
		}
	}
	return sentence.Runtime(b.study.Battery, g, curve)
}

func (b *builder) howLong() Section {
	s := Section{ID: answerLasts, Title: "How long the battery lasts"}
	if b.study.Battery == nil {
		return s
	}
	for i := range b.study.Battery.Groups {
		g := &b.study.Battery.Groups[i]
		s.sayOf(sentence.Joined(g.Workload, b.legend.name(g.Device, g.Variant)), b.link(g, asResult), b.runtime(g)...)
	}
	return s
}

func (b *builder) whatVariantsGive() Section {
	s := Section{ID: answerVariants, Title: "What else was changed, and what it gives"}
	for _, t := range b.study.Topics {
		for _, v := range t.Variants {
			for i := range v.Result.Comparisons {
				c := &v.Result.Comparisons[i]
				s.sayOf(sentence.Joined(c.Workload, conditions(c), against(c)), b.link(c, asResult), b.claimed(c)...)
			}
		}
	}
	if b.study.Battery != nil {
		for i := range b.study.Battery.Groups {
			g := &b.study.Battery.Groups[i]
			s.sayOf(sentence.Joined(g.Workload, g.Device), b.link(g, asResult), significantGains(g)...)
		}
	}
	return s
}

// significantGains are the sentences on longer runtimes than another variant's; the
// shorter ones are the same seen from the other.
func significantGains(g *analysis.BatteryGroup) []sentence.Sentence {
	x := *g
	x.Overhead = analysis.Overhead{InterceptW: analysis.Unknown()}
	x.Measured, x.Flagged = nil, nil
	x.Gains = slices.DeleteFunc(slices.Clone(g.Gains), func(r analysis.RuntimeGain) bool { return !r.Significant || r.Minutes <= 0 })
	return sentence.Battery(&x)
}

func (b *builder) whatMoneyBuys() Section {
	s := Section{Title: "What a dearer device buys"}
	for _, t := range b.study.Topics {
		if t.Value == nil {
			continue
		}
		compared := valued(&t)
		for i := range t.Value.Values {
			v := &t.Value.Values[i]
			s.say(sentence.Joined(v.Workload, compared[i]), sentence.Value(t.Value.Currency, v)...)
		}
	}
	return s
}

// valued gives the conditions under which each value's sides were compared:
// values come in the order of the comparisons, without those that lack a price.
func valued(t *Topic) []string {
	var list []string
	for i := range t.Device.Comparisons {
		c := &t.Device.Comparisons[i]
		if len(list) == len(t.Value.Values) {
			break
		}
		v := &t.Value.Values[len(list)]
		if c.Workload == v.Workload && (c.A == v.Dearer && c.B == v.Cheaper || c.A == v.Cheaper && c.B == v.Dearer) {
			list = append(list, conditions(c))
		}
	}
	return list
}

// notDecided lists what could not be told, and how many runs it would take.
func (b *builder) notDecided() Section {
	s := Section{Title: "What could not be decided"}
	for i := range b.study.Topics {
		for _, r := range b.study.Topics[i].comparisons() {
			if r == b.study.Topics[i].AtPackage { // open at equal watts is what is open at settings
				continue
			}
			for k := range r.Comparisons {
				c := b.study.claimable(&r.Comparisons[k])
				s.sayOf(sentence.Joined(c.Workload, conditions(c), against(c)), b.link(&r.Comparisons[k], asResult), sentence.Open(c))
			}
		}
	}
	return s
}

// reservations are what of the day itself stands behind the numbers, each said once: results
// that drift or shift, and curves of single runs.
func (b *builder) reservations() Section {
	s := Section{Title: "What to keep in mind"}
	seen := map[Statement]bool{}
	doubt := func(about, text string) {
		x := Statement{About: about, Sentence: sentence.Sentence{Tone: sentence.Doubtful, Text: sentence.Capital(text) + "."}}
		if !seen[x] {
			seen[x] = true
			s.Sentences = append(s.Sentences, x)
		}
	}
	for i := range b.study.Topics {
		t := &b.study.Topics[i]
		for _, r := range t.comparisons() {
			for k := range r.Comparisons {
				c := &r.Comparisons[k]
				for _, n := range c.Confounders {
					if n.Code == analysis.ConfounderDrift || n.Code == analysis.ConfounderPasses || n.Code == analysis.NoteDaysDiffer {
						doubt(sentence.Joined(c.Workload, conditions(c)), sentence.Note(n))
					}
				}
			}
		}
		for k := range t.Curve.Groups {
			g := &t.Curve.Groups[k]
			if len(g.Points) > 1 && g.N == len(g.Points) {
				doubt(sentence.Joined(g.Workload, b.legend.name(g.Device, g.Variant), onSupply(g.Supply)),
					"one run a setting: how much runs differ is guessed from how smooth the curve is, and a single odd run would not be noticed")
			}
		}
	}
	return s
}
