package sentence

import (
	"cmp"
	"fmt"
	"time"

	"sweepd/analysis"
)

// noteBesides says what else differs between the sides of a comparison.
func noteBesides(n analysis.Note) string {
	switch n := n.(type) {
	case analysis.Apart:
		return fmt.Sprintf("not interleaved in time: the last run of %s began before the first of %s, so anything that changed in between looks like a difference of the sides",
			Side(n.Early), Side(n.Late))
	case analysis.DurationsDiffer:
		return fmt.Sprintf("different duration: runs of %s last %s s on average, of %s %s s",
			Side(n.A.Side), Significant(float64(n.A.Mean)), Side(n.B.Side), Significant(float64(n.B.Mean)))
	case analysis.StartTemperaturesDiffer:
		return fmt.Sprintf("different start temperature: %s %s °C on average, %s %s °C",
			Side(n.A.Side), Fixed(float64(n.A.Mean), 1), Side(n.B.Side), Fixed(float64(n.B.Mean), 1))
	case analysis.TimesOfDayDiffer:
		return fmt.Sprintf("different time of day: %s ran around %s UTC, %s around %s", Side(n.A.Side), timeOfDay(n.A.At), Side(n.B.Side), timeOfDay(n.B.At))
	case analysis.ChargesDiffer:
		return fmt.Sprintf("different charge: %s starts at %s %% on average, %s at %s %%",
			Side(n.A.Side), Fixed(100*float64(n.A.Mean), 0), Side(n.B.Side), Fixed(100*float64(n.B.Mean), 0))
	case analysis.FindingsDiffer:
		return fmt.Sprintf("%s: %d of %d runs of %s, %d of %d of %s", n.Code, n.A.Runs, n.A.All, Side(n.A.Side), n.B.Runs, n.B.All, Side(n.B.Side))
	case analysis.FactsDiffer:
		return fmt.Sprintf("different %s: %s with %s, %s with %s", FactName(n.Fact), factValues(n.Fact, n.A.Values), Side(n.A.Side), factValues(n.Fact, n.B.Values), Side(n.B.Side))
	case analysis.DevicesDiffer:
		return "the devices differ in " + listed(kindsOf(n.Facts))
	case analysis.UnitsDiffer:
		return fmt.Sprintf("different unit of %s: %s with %s, %s with %s", n.Metric, units(n.A.Values), Side(n.A.Side), units(n.B.Values), Side(n.B.Side))
	case analysis.MovesBetweenPasses:
		return fmt.Sprintf("results of %s move from pass to pass, by %s between the lowest and the highest of %d passes: such a shift is not in the bounds",
			Side(n.Side), roughPercent(n.Spread, false), n.Passes)
	case analysis.Drifts:
		return fmt.Sprintf("results of %s drift over the %s h of its runs, by %s in all", Side(n.Side), Fixed(float64(n.Hours), places(float64(n.Hours), 2)), roughPercent(n.Change, true))
	}
	return ""
}

func timeOfDay(sinceMidnight time.Duration) string {
	return time.Time{}.Add(sinceMidnight).Format("15:04")
}

func units(list []string) string {
	words := make([]string, len(list))
	for i, u := range list {
		words[i] = cmp.Or(u, "no unit")
	}
	return listed(words)
}
