package main

import (
	"fmt"
	"maps"
	"slices"

	"sweepd/report/sentence"
	"sweepd/report/text"
	"sweepd/run"
	"sweepd/testday"
)

// printGiven says of a run that was given results which of them replaced another and how
// that is taken back, how much of the run its frame times cover, and what is found of it now.
func (a *app) printGiven(before, d run.Record, framed *testday.FrameResults) error {
	p := a.printer()
	former := testday.Results{}
	for _, name := range slices.Sorted(maps.Keys(before.Results)) {
		was, is := before.Results[name], d.Results[name]
		if was.Value != is.Value || was.Unit != is.Unit {
			p.Say(fmt.Sprintf("  %s was %s", name, valueText(was)), "    ", text.Plain)
			former[name] = was
		}
	}
	if len(former) > 0 {
		p.Say("  to take it back: "+testday.ResultCommand(d.ID, former), "    ", text.Plain)
	}
	if framed != nil && d.DurationS != nil && !d.HasFinding(run.FramesShort) {
		p.Say(fmt.Sprintf("  its frame times cover %s s, the run %s s", sentence.Fixed(framed.FramesS, 1), sentence.Fixed(*d.DurationS, 1)), "    ", text.Plain)
	}
	for _, f := range d.Findings {
		if !slices.ContainsFunc(before.Findings, func(g run.Finding) bool { return f.Code == g.Code && f.Text == g.Text }) {
			p.Say(fmt.Sprintf("  %s %s: %s", f.Severity, f.Code, f.WithAdvice()), "    ", severityTone(f.Severity))
		}
	}
	return p.Err
}
