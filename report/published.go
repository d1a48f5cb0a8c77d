package report

import (
	"regexp"
	"strings"
)

// orders are what the analysis advises the tester in the terminal: the reader of
// a page can do nothing with them.
var orders = strings.NewReplacer(
	" Look at them (`sweepd run show`); reject what you can explain.", "",
	" (sweepd run show lists the facts)", "",
	"; --at package compares at equal measured watts", "",
	" until you reject them", "",
	": run it again, or look for the cause.", ".",
	": repeat them", "",
	": give results with sweepd run stop --result or sweepd run result", "",
)

// one puts the notes of the analysis that count 1 into the singular.
var one = strings.NewReplacer("1 runs differ from their repeats; they stay", "1 run differs from its repeats; it stays",
	"1 departures rest on", "1 departure rests on")

var oneAlone = regexp.MustCompile(`\b1 (runs differ from their repeats; they stay|departures rest on)`)

func published(text string) string {
	return oneAlone.ReplaceAllStringFunc(orders.Replace(text), one.Replace)
}

// publish words sections for readers who did not test themselves.
func publish(sections []Section) {
	for i := range sections {
		s := &sections[i]
		notes := make([]string, len(s.Notes)) // the study keeps its own
		for k, n := range s.Notes {
			notes[k] = published(n)
		}
		s.Notes = notes
		for k := range s.Sentences {
			s.Sentences[k].Text = published(s.Sentences[k].Text)
		}
		for k := range s.Charts {
			s.Charts[k].Alt = published(s.Charts[k].Alt)
		}
		publish(s.Sections)
	}
}
