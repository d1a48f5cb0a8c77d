package main

import (
	"fmt"
	"strconv"
	"strings"

	"sweepd/agent"
	"sweepd/report/text"
)

// printRuns lists runs. What all of them share is said once, above.
func (a *app) printRuns(runs []agent.Run) error {
	p := a.printer()
	metric := commonMetric(runs)
	device, workload := sharedBy(runs, func(r agent.Run) string { return r.Device }), sharedBy(runs, func(r agent.Run) string { return r.Workload })
	if device != "" {
		p.sentence("device "+device, "", text.Plain)
	}
	if workload != "" {
		p.sentence("workload "+workload, "", text.Plain)
	}
	t := text.Table{Columns: []text.Column{
		{Head: "run"}, {Head: "started"}, {Head: "device", Least: 5, Optional: true}, {Head: "workload", Least: 7, Optional: true},
		{Head: "variant", Least: 5, Optional: true}, {Head: "setting", Right: true, Least: 7}, {Head: "supply"}, {Head: "state"},
		{Head: metric, Right: true, Least: 7, Optional: true}, {Head: "?", Right: true, Optional: true},
	}}
	doubts := 0
	for _, r := range runs {
		n := countDoubts(r)
		doubts += n
		t.Row(
			text.Cell{Text: text.ShortID(r.ID)},
			text.Cell{Text: startedText(r.StartedAt)},
			text.Cell{Text: unless(device != "", r.Device)},
			text.Cell{Text: unless(workload != "", r.Workload)},
			text.Cell{Text: agent.VariantText(r.Variant)},
			text.Cell{Text: r.Setting.String()},
			text.Cell{Text: string(r.Supply)},
			text.Cell{Text: string(r.State), Tone: stateTone(r.State)},
			text.Cell{Text: metricText(r, metric)},
			text.Cell{Text: unless(n == 0, strconv.Itoa(n)), Tone: toneDoubt},
		)
	}
	p.table(&t)
	if doubts > 0 {
		p.sentence("? findings that cast doubt on a run or reject it: `sweepd run show RUN` tells them", "", text.Plain)
	}
	return p.err
}

// commonMetric is the result that most runs have, the first of the alphabet
// where several are as common; empty where no run has any.
func commonMetric(runs []agent.Run) string {
	count := map[string]int{}
	for _, r := range runs {
		for name := range r.Results {
			count[name]++
		}
	}
	best := ""
	for _, name := range sortedNames(count) {
		if count[name] > count[best] {
			best = name
		}
	}
	return best
}

// listDigits is how many digits of a result a list shows; `run show` shows all.
const listDigits = 6

// metricText is one result with its unit, and how many others there are.
func metricText(r agent.Run, name string) string {
	others := ""
	result, ok := r.Results[name]
	if n := len(r.Results); ok && n > 1 {
		others = fmt.Sprintf(" (+%d)", n-1)
	} else if !ok && n > 0 {
		return fmt.Sprintf("(+%d)", n)
	}
	if !ok {
		return ""
	}
	return strings.TrimSpace(strconv.FormatFloat(result.Value, 'g', listDigits, 64)+" "+result.Unit) + others
}

// sharedBy is the text that all runs have, empty unless there is one.
func sharedBy(runs []agent.Run, of func(agent.Run) string) string {
	for _, r := range runs {
		if of(r) != of(runs[0]) {
			return ""
		}
	}
	return of(runs[0])
}

func unless(hide bool, s string) string {
	if hide {
		return ""
	}
	return s
}

func countDoubts(r agent.Run) int {
	n := 0
	for _, f := range r.Findings {
		if f.Severity != agent.SeverityNote {
			n++
		}
	}
	return n
}

func stateTone(s agent.State) text.Tone {
	switch s {
	case agent.Recording:
		return toneGood
	case agent.Interrupted:
		return toneDoubt
	case agent.Rejected:
		return toneBad
	}
	return text.Plain
}

func severityTone(s agent.Severity) text.Tone {
	switch s {
	case agent.SeverityDoubt:
		return toneDoubt
	case agent.SeverityReject:
		return toneBad
	}
	return text.Plain
}

// startedText is the time where the user is.
func startedText(t agent.Timestamp) string {
	if t.IsZero() {
		return ""
	}
	return t.Local().Format("01-02 15:04")
}

// resultsText lists results as they would be typed.
func resultsText(results map[string]agent.Result) string {
	if len(results) == 0 {
		return "no result"
	}
	var list []string
	for _, name := range sortedNames(results) {
		list = append(list, name+" "+valueText(results[name]))
	}
	return strings.Join(list, ", ")
}

func valueText(r agent.Result) string {
	return strings.TrimSpace(strconv.FormatFloat(r.Value, 'g', -1, 64) + " " + r.Unit)
}
