package main

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"sweepd/actuators"
	"sweepd/analysis"
	"sweepd/report/sentence"
	"sweepd/report/table"
	"sweepd/report/text"
	"sweepd/testday"
)

// printDryRun says what a day would do: what is written where, what a hand does, what
// carries out the workloads, and what lacks. Nothing was written for it.
func (a *app) printDryRun(d testday.DryRun, f planRunFlags) error {
	p := a.printer()
	if d.Slots > 0 {
		p.Say(fmt.Sprintf("%s left of the plan, which take about %s", sentence.Counted(d.Slots, "run"), sentence.Clock(analysis.Number(d.LeftS/3600))), "  ", text.Plain)
	}
	if len(d.Writes) > 0 {
		p.Say("What would be written for each value of the plan, in this order, in the units of the places, with what is there now (nothing was written):", "", text.Plain)
		p.Table(dryTable(d.Writes))
	}
	if len(d.Writes) > 0 {
		p.Say("Each is seen from what is there now: from one value to the next the steps may be others. What a run does not name is put back before it, and all of it at the end, to what was there first.", "  ", text.Plain)
	}
	for _, w := range d.Writes {
		if w.Cannot != "" {
			p.Say(fmt.Sprintf("%s is not set by sweepd: %s", w.Value, w.Cannot), "  ", toneDoubt)
		}
	}
	if len(d.Hands) > 0 {
		p.Say("By hand:", "", text.Plain)
		for _, h := range d.Hands {
			words := h.What
			if h.Times > 0 {
				words += ": " + times(h.Times)
			}
			p.Say("  "+words, "    ", text.Plain)
		}
	}
	for i, w := range d.Workloads {
		if i == 0 {
			p.Say("Workloads:", "", text.Plain)
		}
		if w.Cannot != "" {
			if !slices.ContainsFunc(d.Lacks, func(l string) bool { return strings.Contains(l, w.Workload) }) {
				p.Say(fmt.Sprintf("  %s: %s", w.Workload, w.Cannot), "    ", toneBad)
			}
			continue
		}
		p.Say(fmt.Sprintf("  %s: %s", w.Workload, commandText(w.Command)), "    ", text.Plain)
	}
	lacks := slices.DeleteFunc(slices.Clone(d.Lacks), func(l string) bool { return l == testday.NoRunner && !f.noRunner }) // this command is one
	if err := f.runner.check(); err != nil && f.carries(a) {
		lacks = append(lacks, err.Error())
	}
	for i, l := range lacks {
		if i == 0 {
			p.Say("It could not begin now:", "", toneBad)
		}
		p.Say("  "+l, "    ", toneBad)
	}
	switch {
	case d.Consent != nil && len(lacks) == 0:
		p.Say("Nothing lacks: `sweepd plan run` begins.", "", toneGood)
		fallthrough
	case d.Consent != nil:
		p.Say(fmt.Sprintf("%s agreed on %s that sweepd sets the power of %s by itself.", d.Consent.By, d.Consent.At.Local().Format(time.DateOnly), d.Consent.Device), "", text.Plain)
	case d.Slots > 0: // else it is too early to agree
		p.Say("Before sweepd sets this device by itself for the first time, somebody has to agree to this, which `sweepd plan run` asks:", "", toneDoubt)
		for _, c := range d.Cautions {
			p.Say("- "+c, "  ", text.Plain)
		}
	}
	return p.Err
}

// dryTable lists the writes of values that can be set, a line for each write.
func dryTable(list []testday.DryWrite) *table.Table {
	t := &table.Table{Columns: []table.Column{{Head: "value", Least: 5}, {Head: "by", Least: 8, Optional: table.Terminal}, {Head: "now", Right: true}, {Head: "written", Right: true}, {Head: "where"}}}
	for _, v := range list {
		switch {
		case v.Cannot != "" && len(v.Steps) == 0:
			t.Row(table.Text(v.Value), table.Text(""), table.Text(""), table.Cell{Text: "nothing", Tone: toneDoubt}, table.Text(""))
		case len(v.Steps) == 0:
			t.Row(table.Text(v.Value), table.Text(""), table.Text(""), table.Text("nothing"), table.Text("the device has it already"))
		}
		for i, w := range v.Steps {
			t.Row(table.Text(unless(i > 0, v.Value)), table.Text(w.Actuator), table.Text(unless(w.Again, w.Was)), table.Text(w.Text+unless(!w.Again, " if it moved")), table.Text(whereText(w)))
		}
	}
	return t
}

// whereText is the place of a write: a file, or the command as it would be carried out.
func whereText(w actuators.Write) string {
	if w.Path != "" || len(w.Command) == 0 {
		return w.Place()
	}
	return commandText(w.Filled())
}

// commandText is a command as it is typed, with what a shell would split in quotes.
func commandText(command []string) string {
	var words []string
	for _, w := range command {
		if w == "" || strings.ContainsAny(w, " \t\"'$\\`;&|<>(){}*?#~") {
			w = "'" + strings.ReplaceAll(w, "'", `'\''`) + "'"
		}
		words = append(words, w)
	}
	return strings.Join(words, " ")
}

// times says how often.
func times(n int) string {
	switch n {
	case 1:
		return "once"
	case 2:
		return "twice"
	}
	return fmt.Sprintf("%d times", n)
}
