package main

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"sweepd/report/sentence"
	"sweepd/report/table"
	"sweepd/report/text"
	"sweepd/run"
	"sweepd/store"
	"sweepd/testday"
)

// printStopped sums up a run that has just ended.
func (a *app) printStopped(d run.Record) error {
	if a.json {
		return a.printJSON(d)
	}
	p := a.printer()
	p.summary(d)
	return p.Err
}

// printKept prints what is kept of a run, with all of it what each sensor showed and the
// facts.
func (a *app) printKept(k testday.KeptRun, all bool) error {
	p := a.printer()
	d := k.Record
	p.summary(d)
	if k.SoFar != nil {
		p.Say("  "+soFarText(*k.SoFar, d.Summaries), "    ", text.Plain)
	}
	p.history(k.History)
	if !all {
		if len(d.Summaries)+len(d.Facts) > 0 {
			p.Say(fmt.Sprintf("  %s and %s: sweepd run show %s --all", sentence.Counted(len(d.Summaries), "sensor"), sentence.Counted(len(d.Facts), "fact"), run.ShortID(d.ID)), "    ", text.Plain)
		}
		return p.Err
	}
	p.summaries(d.Summaries)
	if len(d.Summaries) > 0 {
		p.Say("total: the energy of a power, the rise of a counter", "", text.Plain)
	}
	p.facts(d.Facts)
	return p.Err
}

// soFarText says how far a recording is.
func soFarText(s testday.SoFar, list []run.Summary) string {
	if s.Sweeps == 0 {
		return "so far: no sweep is stored yet"
	}
	words := fmt.Sprintf("so far: %s in %s s, means up to %s", sentence.Counted(s.Sweeps, "sweep"), sentence.Fixed(s.Seconds, 1), s.At.Local().Format("15:04:05"))
	hottest := run.Summary{}
	for _, x := range list {
		if x.Sensor == run.Temperature && x.Last != nil && (hottest.Last == nil || *x.Last > *hottest.Last) {
			hottest = x
		}
	}
	if hottest.Last != nil {
		words += fmt.Sprintf("; hottest %.0f °C now (%s)", *hottest.Last, hottest.Instance)
	}
	return words
}

// summary is what a user wants to know at the end of a run.
func (p *printer) summary(d run.Record) {
	p.Painted("run " + run.Visible(d.ID) + " " + p.Paint(stateText(d.Run), stateTone(d.State)))
	if d.Why != "" {
		p.Say("  why: "+d.Why, "    ", text.Plain)
	}
	p.Say("  "+conditions(d.Run), "    ", text.Plain)
	if watts := wattsText(d); watts != "" {
		p.Say("  "+watts, "    ", text.Plain)
	}
	why := d.NoSystemPower()
	if d.TailUndecided() {
		why = run.IdleAtEnd
	}
	if why != "" && d.State != run.Recording {
		p.Say("  its power does not count: "+why, "    ", text.Plain)
	}
	p.Say("  "+resultsText(d.Results), "    ", text.Plain)
	if d.Note != "" {
		p.Say("  note: "+d.Note, "    ", text.Plain)
	}
	for _, f := range d.Findings {
		p.Say(fmt.Sprintf("  %s %s: %s", f.Severity, f.Code, f.WithAdvice()), "    ", severityTone(f.Severity))
	}
}

// history tells what was decided and corrected since the run, the oldest first.
func (p *printer) history(h store.History) {
	did := map[run.Decision]string{run.Reject: "rejected", run.Keep: "kept", run.Unkeep: "keeping taken back",
		run.Trim: "trimmed", run.Untrim: "trimming taken back"}
	by := map[string]string{"user": "by hand", "finding": "by a finding"}
	for _, x := range h.Decisions {
		when := "before it came here"
		if !x.At.IsZero() {
			when = timeText(x.At)
		}
		what := did[x.What] + " " + by[x.Who]
		switch said := strings.HasPrefix(x.Why, "up to ") || strings.HasPrefix(x.Why, "by "); {
		case (x.What == run.Trim || x.What == run.Untrim) && said: // see run.Correction's DecisionWhy
			what = did[x.What] + " " + x.Why
		case x.Why != "":
			what += ": " + x.Why
		}
		p.Say("  "+when+": "+what, "    ", text.Plain)
	}
	p.corrections(h.Corrections)
	for _, x := range replaced(h) {
		p.Say(fmt.Sprintf("  %s: %s corrected, it was %s", timeText(x.ReplacedAt), x.Name, valueText(x.Result)), "    ", text.Plain)
	}
}

// replaced are the results that were replaced and that no correction tells of: data of
// older versions have such.
func replaced(h store.History) (list []store.OldResult) {
	for _, x := range h.Results {
		if !slices.ContainsFunc(h.Corrections, func(c store.Corrected) bool {
			return c.What == run.FieldResult && c.Name == x.Name && c.At == x.ReplacedAt
		}) {
			list = append(list, x)
		}
	}
	return list
}

// conditions says what was run, where and how long.
func conditions(r run.Run) string {
	parts := []string{r.Workload, "on " + r.Device}
	if v := string(r.Variant); v != "" {
		parts = append(parts, v)
	}
	setting := "setting unknown"
	if r.Setting.Known() {
		setting = describeSetting(r.Setting, r.SettingRead)
	}
	parts = append(parts, setting)
	if r.Supply != run.SupplyUnknown {
		parts = append(parts, string(r.Supply))
	}
	if !r.StartedAt.IsZero() {
		parts = append(parts, "started "+timeText(r.StartedAt))
	}
	if r.DurationS != nil {
		parts = append(parts, sentence.Fixed(*r.DurationS, 1)+" s")
	}
	if trimmed := trimmedText(&r); trimmed != "" {
		parts = append(parts, trimmed)
	}
	return strings.Join(parts, ", ")
}

// wattsText is the mean power, with a 95 % interval where there is one.
func wattsText(d run.Record) string {
	var parts []string
	if d.PackageW != nil {
		parts = append(parts, fmt.Sprintf("package %s W", sentence.Significant(*d.PackageW)))
	}
	if x := d.Discharge; x != nil && x.Watts != nil && !d.HasFinding(run.TooShort) {
		parts = append(parts, dischargeText(d.Supply, *x.Watts, x.UncertaintyWatts))
	}
	if d.SystemW != nil && d.SystemWSource == run.FromExternal {
		parts = append(parts, fmt.Sprintf("whole device %s W by an external meter", sentence.Significant(*d.SystemW)))
	}
	return strings.Join(parts, ", ")
}

// dischargeText is what the battery gave: all that the device drew where nothing else fed it.
func dischargeText(supply run.Supply, watts float64, uncertainty *float64) string {
	name := "battery"
	if supply == run.Battery {
		name = "whole device"
	}
	if uncertainty == nil {
		return fmt.Sprintf("%s %s W", name, sentence.Significant(watts))
	}
	u := *uncertainty
	if supply != run.Battery && math.Abs(watts) <= u {
		return fmt.Sprintf("battery at rest within ± %s W (95 %%)", sentence.WithUncertainty(u, u))
	}
	return fmt.Sprintf("%s %s ± %s W (95 %%)", name, sentence.WithUncertainty(watts, u), sentence.WithUncertainty(u, u))
}

func (p *printer) summaries(list []run.Summary) {
	t := table.Table{Columns: []table.Column{
		{Head: "sensor", Least: 14}, {Head: "instance", Least: 9, Optional: table.Terminal}, {Head: "mean", Right: true}, {Head: "min", Right: true},
		{Head: "max", Right: true}, {Head: "p95", Right: true}, {Head: "total", Right: true, Optional: table.Terminal},
	}}
	for _, s := range list {
		of := func(v *float64) table.Cell { return table.Text(shortReading(s.Sensor, s.Unit, v)) }
		t.Row(table.Text(s.Sensor), table.Text(s.Instance), of(s.Mean), of(s.Min), of(s.Max), of(s.P95), table.Text(totalText(s)))
	}
	if len(t.Rows) > 0 {
		p.Line("")
	}
	p.Table(&t)
}

// totalText is what came together during the run: a power's energy, a counter's
// rise. It is empty for other sensors, and a dash where a counter was reset.
func totalText(s run.Summary) string {
	switch {
	case s.EnergyJoules != nil: // of a counter the sum over resets, too
		return siText(*s.EnergyJoules, "joules")
	case s.Min != nil || s.Max != nil: // no counter
		return ""
	case s.First != nil && s.Last != nil && *s.Last >= *s.First:
		return siText(*s.Last-*s.First, s.Unit)
	}
	return sentence.Dash
}

func (p *printer) facts(facts map[string]string) {
	t := table.Table{Columns: []table.Column{{Head: "fact"}, {Head: "value", Least: 20}}}
	values := map[string][]string{}
	for key, value := range facts {
		values[key] = []string{value}
	}
	for _, f := range sentence.Facts(values) {
		t.Row(table.Text(f.Name), table.Text(f.Value))
	}
	if len(t.Rows) > 0 {
		p.Line("")
	}
	p.Table(&t)
}
