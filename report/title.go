package report

import (
	"fmt"
	"strings"
	"sweepd/analysis"
	"sweepd/report/sentence"
	"sweepd/run"
)

// title says what the report is about.
func (b *builder) title() (title, subtitle string) {
	devices := levels(b.study.runs, func(r *run.Run) string { return r.Device })
	workloads := levels(b.study.runs, func(r *run.Run) string { return r.Workload })
	title = sentence.Listed(devices, 4) + " tested with " + sentence.Listed(workloads, 4)
	subtitle = b.howMany()
	var first, last string
	for i := range b.in.Runs {
		if t := b.in.Runs[i].StartedAt; !t.IsZero() {
			day := t.In(b.zone).Format("2 January 2006")
			if first == "" {
				first = day
			}
			last = day
		}
	}
	switch {
	case first == "":
	case first == last:
		subtitle += ", " + first
	default:
		subtitle += ", " + first + " to " + last
	}
	return title, subtitle
}

func joinTitle(parts ...string) string {
	var kept []string
	for _, p := range parts {
		if p != "" {
			kept = append(kept, p)
		}
	}
	return strings.Join(kept, ", ")
}

// conditions is what both sides of a comparison share, for titles.
func conditions(c *analysis.Comparison) string {
	var parts []string
	for _, s := range []string{deref(c.Device), deref(c.Variant)} {
		if s != "" {
			parts = append(parts, s)
		}
	}
	if c.Supply != nil {
		parts = append(parts, onSupply(*c.Supply))
	}
	return strings.Join(parts, ", ")
}

// onSupply says what feeds the device, for titles.
func onSupply(supply string) string {
	if supply == "" {
		return "on an unknown supply"
	}
	return "on " + supply
}

func supplyTitle(s *string) string {
	if s == nil {
		return ""
	}
	return onSupply(*s)
}

// partTitle tells the charts of one thing apart.
func partTitle(title string, i, n int) string {
	if n == 1 {
		return title
	}
	return fmt.Sprintf("%s (%d of %d)", title, i+1, n)
}

func deref(s *string) string {
	if s == nil {
		return ""
	}
	return *s
}
