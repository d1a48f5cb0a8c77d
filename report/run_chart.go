package report

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"sweepd/report/chart"
	"sweepd/report/sentence"
	"sweepd/run"
)

// runChart draws temperature, power and clocks through one run, with its findings
// where they happened.
func (b *builder) runChart(t *Trace, r *run.Run) (chart.Chart, bool) {
	c := chart.Chart{
		Name:    b.unique(fileName("run", run.ShortID(r.ID))),
		Title:   runTitle(r),
		Lines:   []string{fmt.Sprintf("Run %s: %s at %s on %s, %s", run.ShortID(r.ID), r.Workload, settingWords(r), r.Device, runLine(r, b.zone))},
		Sharing: true,
	}
	for _, part := range []struct {
		label string
		lines []Line
	}{{"temperature, °C", t.Temperature}, {"power, W", t.Power}, {"clock, GHz", t.Clock}, {"fan speed, rpm", t.Fan}} {
		p := chart.Panel{Y: chart.Axis{Label: part.label}, X: chart.Axis{Label: "time since the start, s", From: new(float64)}}
		for i, l := range part.lines {
			if s := traceSeries(l, quantityStyle(l, i)); len(s.Points) > 0 {
				p.Series = append(p.Series, s)
			}
		}
		if len(p.Series) > 0 {
			c.Panels = append(c.Panels, p)
		}
	}
	if len(c.Panels) == 0 {
		return c, false
	}
	marks, items := findingMarks(r)
	for i := range c.Panels {
		c.Panels[i].Marks = marks
	}
	c.Key = items
	if t.Normal {
		c.Title = normalTitle(t, r)
	}
	c.Footer = b.footerOf([]run.Run{*r}, source{})
	c.Alt = c.Title + ". " + c.Lines[0] + "."
	for _, f := range r.Findings {
		c.Alt += " " + sentence.Capital(f.Text) + "."
	}
	return c, true
}

// runTitle says what was found in a run: first what weighs most.
func runTitle(r *run.Run) string {
	var worst *run.Finding
	weight := map[run.Severity]int{run.SeverityNote: 1, run.SeverityDoubt: 2, run.SeverityReject: 3}
	for i := range r.Findings {
		if f := &r.Findings[i]; worst == nil || weight[f.Severity] > weight[worst.Severity] {
			worst = f
		}
	}
	if worst == nil {
		return fmt.Sprintf("%s at %s: nothing unusual found in the run", r.Workload, settingWords(r))
	}
	text := sentence.Capital(strings.TrimSuffix(worst.Text, "."))
	if len(r.Findings) > 1 {
		text += fmt.Sprintf(", and %d more", len(r.Findings)-1)
	}
	return text
}

// normalTitle says what a run looks like to which nothing happened.
func normalTitle(t *Trace, r *run.Run) string {
	title := fmt.Sprintf("A normal run of %s at %s", r.Device, settingWords(r))
	for _, l := range t.Temperature {
		for i := len(l.Values) - 1; i >= 0; i-- {
			if !math.IsNaN(l.Values[i]) {
				return fmt.Sprintf("%s ends at %s °C (%s)", title, sentence.Fixed(l.Values[i], 0), l.Name)
			}
		}
	}
	return title
}

// settingWords is the setting of a run, and what the system reported where that is
// another one.
func settingWords(r *run.Run) string {
	s := sentence.SettingOf(r.Setting.Setting)
	if read := reportedSetting(r); read != "" {
		s += " (the system reported " + read + ")"
	}
	return s
}

func runLine(r *run.Run, zone *time.Location) string {
	started := ""
	if !r.StartedAt.IsZero() {
		started = "started " + r.StartedAt.In(zone).Format("2 January 2006 15:04:05")
	}
	return sentence.Joined(onSupply(string(r.Supply)), string(r.Variant), started, string(r.State))
}

// mostMarks is how many findings are marked in a chart; the page lists all.
const mostMarks = 6

// severityWords are what a finding means for its run.
var severityWords = map[run.Severity]string{run.SeverityReject: "rejected", run.SeverityDoubt: "in doubt", run.SeverityNote: "note"}

// findingMarks are a run's findings where they happened, and what each is; an only one is
// the chart's title.
func findingMarks(r *run.Run) (marks []chart.Mark, items []chart.Item) {
	for i, f := range r.Findings {
		if i == mostMarks {
			items = append(items, chart.Item{Symbol: chart.SymbolNone, Text: fmt.Sprintf("and %d more findings", len(r.Findings)-i)})
			break
		}
		badge := strconv.Itoa(i + 1)
		where := ""
		if !f.At.IsZero() && !r.StartedAt.IsZero() {
			at := f.At.Sub(r.StartedAt.Time).Seconds()
			marks = append(marks, chart.Mark{X: at, Badge: badge})
			where = " at " + sentence.Fixed(at, 0) + " s"
		}
		text := severityWords[f.Severity] + where
		if len(r.Findings) > 1 {
			text += ": " + strings.TrimSuffix(f.Text, ".")
		}
		items = append(items, chart.Item{Symbol: chart.SymbolBadge, Badge: badge, Text: text})
	}
	return marks, items
}

// quantityStyle is the style of a quantity of one run by what it belongs to; the i-th
// style where that is nothing known.
func quantityStyle(l Line, i int) int {
	switch name := strings.ToLower(l.Name); {
	case l.Steps:
		return chart.Ink
	case strings.HasPrefix(name, "cpu") || name == "package":
		return processorStyle
	case strings.HasPrefix(name, "gpu"):
		return graphicsStyle
	case strings.HasPrefix(name, "fan"):
		return chart.Quantity(3)
	case strings.HasPrefix(name, "battery"):
		return batteryStyle
	}
	return chart.Quantity(i)
}

// mostPoints is how many points of a line a chart can show apart.
const mostPoints = 360

func traceSeries(l Line, style int) chart.Series {
	s := chart.Series{Name: l.Name, Style: style, Joined: true, Bare: true, Steps: l.Steps}
	for _, q := range thin(l.Times, l.Values, mostPoints) {
		s.Points = append(s.Points, flat(q[0], q[1]))
	}
	return s
}

// thin keeps of a long line what can be seen: of each of so many stretches of
// time the lowest and the highest value, in order. Missing values break it.
func thin(times, values []float64, stretches int) [][2]float64 {
	n := min(len(times), len(values))
	var out [][2]float64
	if n <= 2*stretches {
		for i := range n {
			out = append(out, [2]float64{times[i], values[i]})
		}
		return out
	}
	span := (times[n-1] - times[0]) / float64(stretches)
	for i := 0; i < n; {
		end := times[i] + span
		low, high, missing := i, i, false
		k := i
		for ; k < n && (times[k] < end || k == i); k++ {
			switch {
			case math.IsNaN(values[k]):
				missing = true
			case math.IsNaN(values[low]):
				low, high = k, k
			default:
				if values[k] < values[low] {
					low = k
				}
				if values[k] > values[high] {
					high = k
				}
			}
		}
		out = append(out, [2]float64{times[min(low, high)], values[min(low, high)]})
		if low != high {
			out = append(out, [2]float64{times[max(low, high)], values[max(low, high)]})
		}
		if missing && !math.IsNaN(values[low]) {
			out = append(out, [2]float64{times[k-1], math.NaN()})
		}
		i = k
	}
	return out
}
