package report

import (
	"fmt"
	"slices"
	"time"

	"sweepd/analysis"
	"sweepd/report/sentence"
	"sweepd/run"
)

// title says what the report is about.
func (b *builder) title() (title, subtitle string) {
	devices := devicesOf(b.study.runs)
	workloads := workloadsOf(b.study.runs)
	title = named(devices, "devices") + " in " + sentence.Listed(workloads, 4)
	subtitle = b.howMany()
	timed := slices.DeleteFunc(slices.Clone(b.in.Runs), func(r run.Run) bool { return r.StartedAt.IsZero() })
	if len(timed) == 0 {
		return title, subtitle
	}
	first, last := b.day(timed[0].StartedAt.Time), b.day(timed[len(timed)-1].StartedAt.Time)
	if first == last {
		return title, subtitle + ", " + first
	}
	return title, subtitle + ", " + first + " to " + last
}

// mostTitled is how many devices a title names; of more it says how many they are.
const mostTitled = 5

// named are the names of a few things, of many how many they are.
func named(names []string, things string) string {
	if len(names) > mostTitled {
		return fmt.Sprintf("%d %s", len(names), things)
	}
	return sentence.Listed(names, mostTitled)
}

// day is the date of a time.
func (b *builder) day(t time.Time) string { return t.In(b.zone).Format("2 January 2006") }

// conditions is what both sides of a comparison share, for titles.
func conditions(c *analysis.Comparison) string {
	return sentence.Joined(sentence.OrEmpty(c.Device), sentence.OrEmpty(c.Variant), supplyTitle(c.Supply))
}

// against names the sides of a comparison.
func against(c *analysis.Comparison) string {
	return sentence.Side(c.A) + " against " + sentence.Side(c.B)
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
