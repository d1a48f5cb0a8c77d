package text

import (
	"fmt"

	"sweepd/analysis"
	"sweepd/report/sentence"
)

// notes writes each note as a sentence with a word before it, and what the tester
// can do about it.
func (p *Printer) notes(word string, list []analysis.Note) {
	for _, n := range list {
		p.Say(word+": "+sentence.Note(n)+advice(n), "  ", Plain)
	}
}

// advice says behind a note what to do about it, by the commands and options of
// sweepd. It is for those who test: whoever only reads results can do nothing.
func advice(n analysis.Note) string {
	switch n.Code {
	case analysis.NoteNoiseUnknown:
		return "; repeat each setting at least twice"
	case analysis.NoteUnlikeRepeats:
		if n.Count == 1 {
			return "; look at it (`sweepd run show`) and reject it if you can explain it"
		}
		return "; look at them (`sweepd run show`) and reject those that you can explain"
	case analysis.NoteSettingsDisobeyed:
		return "; --at package compares at equal measured watts"
	case analysis.NoteDaysLeftOut:
		return ": only interleaving their runs helps"
	case analysis.NoteSlowRunUnseen:
		return "; three runs help"
	case analysis.ConfounderDevices:
		return " (`sweepd run show` lists the facts)"
	case analysis.NoteNoUsableResult:
		if len(n.Names) > 0 {
			return " (ask with --metric)"
		}
	case analysis.NoteSingleRunDepartures:
		if n.Count == 1 {
			return ": repeat it"
		}
		return ": repeat them"
	case analysis.NoteFullEnergyUnknown:
		return "; state it, such as --full-energy 48.6Wh"
	case analysis.NotePackNotCounted:
		return fmt.Sprintf("; state the energy of both, --full-energy %s=…Wh", n.Group.Variant)
	case analysis.NoteSeveralMachines:
		return fmt.Sprintf("; `sweepd device list` tells, `sweepd run correct` gives runs another device (or `sweepd device rename %s NEW` all of them)", n.Name)
	case analysis.NotePriceUnknown:
		return fmt.Sprintf("; state it, --price %s=…", n.Name)
	case analysis.NoteSamePrice:
		return ": see the comparison"
	}
	return ""
}
