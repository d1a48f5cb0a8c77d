package report

import (
	"slices"

	"sweepd/analysis"
	"sweepd/report/chart"
	"sweepd/report/sentence"
)

// Opening is what a page opens with: at most three sentences and one picture.
type Opening struct {
	Sentences []Statement
	Charts    []chart.Chart
}

// openingRoom is what a reader takes in within ten seconds: all text of the page before its
// first chart.
var openingRoom = sentence.Room{Words: 120, Numbers: 25}

// skipWords is the text of the page before its title.
const skipWords = "Results"

// opening is what the page opens with below its title: of the devices who is ahead where,
// else of the variants of the one device, else of its supplies.
func (b *builder) opening(title string) Opening {
	var o Opening
	list := b.opened
	said := sentence.Opening{Comparisons: list, Subjects: b.subjects(list)}
	if b.study.Battery != nil {
		said.Reserve = b.study.Battery.Reserve
	}
	ahead, set, lasts := said.Sentences(openingRoom.Less(skipWords + " " + title))
	about := answerSet
	if len(list) > 0 {
		about = map[string]string{"device": answerAhead, "variant": answerVariants, "supply": answerBattery}[list[0].Factor]
	}
	for _, x := range []struct{ text, to string }{{ahead, about}, {set, answerSet}, {lasts, answerLasts}} {
		if x.text != "" {
			o.Sentences = append(o.Sentences, Statement{Sentence: sentence.Sentence{Tone: sentence.Good, Text: x.text}, Link: x.to})
		}
	}
	if o.Charts = b.aheadCharts(); len(o.Charts) == 0 {
		o.Charts = b.openingSummary()
	}
	return o
}

// Anchors of the answers that the opening is short for.
const (
	answerAhead = "answer-ahead"
	answerSet   = "answer-set"
	answerLasts = "answer-lasts"

	answerBattery  = "answer-battery"
	answerVariants = "answer-variants"
)

// headline are the comparisons that the page opens with, as it may claim them.
func (b *builder) headline() []*analysis.Comparison {
	restated := func(of func(*Topic) []*analysis.CompareResult) []*analysis.Comparison {
		var list []*analysis.Comparison
		for i := range b.study.Topics {
			for _, r := range of(&b.study.Topics[i]) {
				if r == nil {
					continue
				}
				for k := range r.Comparisons {
					list = append(list, b.study.claimable(&r.Comparisons[k]))
				}
			}
		}
		return list
	}
	if list := restated(func(t *Topic) []*analysis.CompareResult { return []*analysis.CompareResult{t.Device} }); len(list) > 0 {
		return list
	}
	if len(devicesOf(b.study.runs)) > 1 {
		return nil
	}
	if list := restated(func(t *Topic) []*analysis.CompareResult {
		var list []*analysis.CompareResult
		for i := range t.Variants {
			if t.Variants[i].Key == t.Variants[0].Key {
				list = append(list, &t.Variants[i].Result)
			}
		}
		return list
	}); len(list) > 0 {
		return list
	}
	return restated(func(t *Topic) []*analysis.CompareResult { return []*analysis.CompareResult{t.Supply} })
}

// mostSubjects is of how many devices the opening says what to set.
const mostSubjects = 2

// subjects are the devices, or variants of the one device, of which the opening says what to
// set and how long it lasts: both of a pair, else the one that the others are compared with.
func (b *builder) subjects(list []*analysis.Comparison) []sentence.Subject {
	var keys [][2]string
	add := func(key [2]string) {
		if !slices.Contains(keys, key) {
			keys = append(keys, key)
		}
	}
	for _, c := range list {
		if c.Factor == "supply" {
			continue
		}
		for _, side := range []string{c.A, c.B} {
			if key, ok := b.legend.side(c, side); ok && sentence.OrEmpty(c.Variant) == sentence.OrEmpty(list[0].Variant) {
				add(key)
			}
		}
	}
	if len(keys) == 0 {
		keys = b.legend.keys[:min(1, len(b.legend.keys))]
	}
	if len(keys) > mostSubjects {
		if key, ok := b.legend.side(list[0], list[0].B); ok {
			s := b.subject(key)
			s.On += ", which the others are compared with"
			return []sentence.Subject{s}
		}
	}
	var out []sentence.Subject
	for _, k := range keys {
		out = append(out, b.subject(k))
	}
	return out
}

// subject is a device with its variant, and all that was found of it alone.
func (b *builder) subject(key [2]string) sentence.Subject {
	var s sentence.Subject
	if len(b.legend.keys) > 1 {
		s.Name = b.legend.name(key[0], key[1])
		s.On = "on " + s.Name
		if !b.legend.devices {
			s.On = "as it comes"
			if key[1] != "" {
				s.On = "with " + key[1]
			}
		}
	}
	for i := range b.study.Topics {
		groups := b.study.Topics[i].Curve.Groups
		for k := range groups {
			if g := &groups[k]; g.Device == key[0] && g.Variant == key[1] {
				s.Curves = append(s.Curves, g)
			}
		}
	}
	if b.study.Battery != nil {
		for i := range b.study.Battery.Groups {
			if g := &b.study.Battery.Groups[i]; g.Device == key[0] && g.Variant == key[1] {
				s.Battery = append(s.Battery, g)
			}
		}
	}
	return s
}
