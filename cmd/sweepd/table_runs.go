package main

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"sweepd/analysis"
	"sweepd/report/table"
	"sweepd/report/text"
	"sweepd/run"
)

// printRuns lists runs. What all of them share is said once, above.
func (a *app) printRuns(runs []run.Run) error {
	p := a.printer()
	device, workload := sharedBy(runs, func(r run.Run) string { return r.Device }), sharedBy(runs, func(r run.Run) string { return r.Workload })
	if device != "" {
		p.Say("device "+device, "", text.Plain)
	}
	if workload != "" {
		p.Say("workload "+workload, "", text.Plain)
	}
	zone, started := startTimes(runs)
	t := table.Table{Columns: []table.Column{
		{Head: "run"}, {Head: "started (" + zone + ")", Least: 16}, {Head: "device", Least: 8, Optional: table.Terminal}, {Head: "workload", Least: 8, Optional: table.Terminal},
		{Head: "variant", Least: 8, Optional: table.Terminal}, {Head: "setting", Right: true, Least: 7}, {Head: "supply"}, {Head: "state"},
		{Head: "findings", Right: true, Optional: table.Terminal}, {Head: "result", Below: true, Optional: table.Terminal},
	}}
	metrics, unlimited := commonMetrics(runs), p.Unlimited
	doubts := 0
	for i, r := range runs {
		n := countDoubts(r)
		doubts += n
		t.Row(
			table.Text(run.ShortID(r.ID)),
			table.Text(started[i]),
			table.Text(unless(device != "", r.Device)),
			table.Text(unless(workload != "", r.Workload)),
			table.Text(string(r.Variant)),
			table.Text(r.Setting.String()),
			table.Text(suppliedBy(r)),
			table.Cell{Text: stateText(r), Tone: stateTone(r.State)},
			table.Cell{Text: unless(n == 0, strconv.Itoa(n)), Tone: toneDoubt},
			table.Text(listedResults(r, metrics[r.Workload], unlimited)),
		)
	}
	sentences := p.Options
	if p.Unlimited {
		p.Width, p.Unlimited = widestRow, false
	}
	p.Table(&t)
	p.Options = sentences
	if slices.ContainsFunc(runs, func(r run.Run) bool { return r.SystemWSource == run.FromExternal }) {
		p.Say("+meter: an external meter tells the power of the whole device", "", text.Plain)
	}
	if doubts > 0 {
		p.Say("findings: those that cast doubt on a run or reject it; `sweepd run show RUN` tells them", "", text.Plain)
	}
	return p.Err
}

// suppliedBy is the supply, with a mark where an external meter tells the power of the
// whole device.
func suppliedBy(r run.Run) string {
	if r.SystemWSource == run.FromExternal {
		return string(r.Supply) + "+meter"
	}
	return string(r.Supply)
}

// commonMetrics is for each workload the result that most of its runs have, the
// first of the alphabet where several are as common.
func commonMetrics(runs []run.Run) map[string]string {
	count := map[string]map[string]int{}
	for _, r := range runs {
		if count[r.Workload] == nil {
			count[r.Workload] = map[string]int{}
		}
		for name := range r.Results {
			count[r.Workload][name]++
		}
	}
	common := map[string]string{}
	for workload, names := range count {
		common[workload] = analysis.MostFrequent(names)
	}
	return common
}

// allResults is how long the results of a run may be that are listed in full, and
// widestRow how wide a row, where no terminal sets a bound.
const (
	allResults = 60
	widestRow  = 160
)

// listedResults is one result of a run, that of the name if the run has it, and
// how many others there are; or all of them, where they are few.
func listedResults(r run.Run, name string, all bool) string {
	if len(r.Results) == 0 {
		return ""
	}
	if text := resultsText(r.Results); all && len(text) <= allResults {
		return text
	}
	if _, ok := r.Results[name]; !ok {
		name = slices.Sorted(maps.Keys(r.Results))[0]
	}
	others := ""
	if n := len(r.Results); n > 1 {
		others = fmt.Sprintf(", %d more", n-1)
	}
	return name + " " + valueText(r.Results[name]) + others
}

// sharedBy is the text that all runs have in common, "" where they differ.
func sharedBy(runs []run.Run, of func(run.Run) string) string {
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

func countDoubts(r run.Run) int {
	n := 0
	for _, f := range r.Findings {
		if f.Severity != run.SeverityNote {
			n++
		}
	}
	return n
}

// stateText is a run's state, and that it was kept although it was interrupted, or could
// not be stored so far.
func stateText(r run.Run) string {
	if r.State == run.Finished && r.HasFinding(run.KeptInterrupted) {
		return string(r.State) + ", kept"
	}
	if r.KeptIn != "" {
		return string(r.State) + ", not stored"
	}
	if r.WholeS != nil {
		return string(r.State) + ", trimmed"
	}
	return string(r.State)
}

func stateTone(s run.State) text.Tone {
	switch s {
	case run.Recording:
		return toneGood
	case run.Interrupted:
		return toneDoubt
	case run.Rejected:
		return toneBad
	}
	return text.Plain
}

func severityTone(s run.Severity) text.Tone {
	switch s {
	case run.SeverityDoubt:
		return toneDoubt
	case run.SeverityReject:
		return toneBad
	}
	return text.Plain
}

// startTimes are the times at which runs started, where the user is, and the zone
// that they are in: UTC where the user's changes between them.
func startTimes(runs []run.Run) (zone string, texts []string) {
	zone = zoneText(time.Now())
	in := time.Local
	first := true
	for _, r := range runs {
		if r.StartedAt.IsZero() {
			continue
		}
		if first {
			zone, first = zoneText(r.StartedAt.Time), false
		}
		if zoneText(r.StartedAt.Time) != zone {
			zone, in = "UTC", time.UTC
			break
		}
	}
	now := time.Now()
	texts = make([]string, len(runs))
	for i, r := range runs {
		texts[i] = r.StartedAt.Short(now, in)
	}
	return zone, texts
}

// zoneText is the offset of the user's clock at a time: "UTC", "UTC+02:00".
func zoneText(t time.Time) string {
	if _, offset := t.Local().Zone(); offset == 0 {
		return "UTC"
	}
	return "UTC" + t.Local().Format("-07:00")
}

// timeText is a time where the user is.
func timeText(t run.Timestamp) string {
	return t.Local().Format("2006-01-02 15:04:05") + " " + zoneText(t.Time)
}

// resultsText lists results as they would be typed.
func resultsText(results map[string]run.Result) string {
	if len(results) == 0 {
		return "no result"
	}
	var list []string
	for _, name := range slices.Sorted(maps.Keys(results)) {
		list = append(list, name+" "+valueText(results[name]))
	}
	return strings.Join(list, ", ")
}

// resultDigits is how many digits of a result people read; JSON has all.
const resultDigits = 6

// valueText is a result with its unit, rounded to resultDigits; digits before the
// point all stay, as far as they can be told.
func valueText(r run.Result) string {
	if r.Unit == "ratio" {
		r.Value, r.Unit = 100*r.Value, "%"
	}
	number := ""
	switch size := math.Abs(r.Value); {
	case size >= 1e6 && size < 1e15:
		number = strconv.FormatFloat(r.Value, 'f', 0, 64)
	case size == 0 || size >= 1e-4 && size < 1e6:
		rounded, _ := strconv.ParseFloat(strconv.FormatFloat(r.Value, 'g', resultDigits, 64), 64) // what was written just now
		number = strconv.FormatFloat(rounded, 'f', -1, 64)
	default:
		number = strconv.FormatFloat(r.Value, 'g', resultDigits, 64)
	}
	return strings.TrimSpace(number + " " + r.Unit)
}
