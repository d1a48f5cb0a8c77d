package text

import (
	"fmt"

	"sweepd/analysis"
	"sweepd/report/sentence"
)

// notes writes each note as a sentence with a word before it, and what the tester
// can do about it.
func (p *page) notes(word string, list []analysis.Note) {
	for _, n := range list {
		p.say("%s: %s%s", word, sentence.Note(n), advice(n))
	}
}

// advice says behind a note what to do about it, by the commands and options of
// sweepd. It is for those who test: whoever only reads results can do nothing.
func advice(n analysis.Note) string {
	switch n := n.(type) {
	case analysis.NoiseEstimate:
		if n.Source == analysis.NoiseNone {
			return "; repeat each setting at least twice"
		}
	case analysis.UnlikeRepeats:
		if n.Runs == 1 {
			return "; look at it (`sweepd run show`) and reject it if you can explain it"
		}
		return "; look at them (`sweepd run show`) and reject those that you can explain"
	case analysis.Disobeyed:
		return "; --at package compares at equal measured watts"
	case analysis.DaysLeftOut:
		return ": only interleaving their runs helps"
	case analysis.SlowRunUnseen:
		return "; three runs help"
	case analysis.DevicesDiffer:
		return " (`sweepd run show` lists the facts)"
	case analysis.NoUsableResult:
		if len(n.Others) > 0 {
			return " (ask with --metric)"
		}
	case analysis.SingleRunDepartures:
		if n.Departures == 1 {
			return ": repeat it"
		}
		return ": repeat them"
	case analysis.FullEnergyUnknown:
		return "; state it, such as --full-energy 48.6Wh"
	case analysis.PackNotCounted:
		return fmt.Sprintf("; state the energy of both, --full-energy %s=…Wh", n.Variant)
	case analysis.PriceUnknown:
		return fmt.Sprintf("; state it, --price %s=…", n.Device)
	case analysis.SamePrice:
		return ": see the comparison"
	}
	return ""
}

// offTrend asks for another look at settings that fall off the trend.
func (p *page) offTrend(list []analysis.DepartureAt) {
	for _, d := range list {
		p.say("Run %s again, or look for what holds it off the trend.", sentence.Setting(d.SettingW, d.Setting))
	}
}
