package sentence

import (
	"fmt"
	"strings"

	"sweepd/analysis"
)

// noteOnComparison says what is noted of comparisons.
func noteOnComparison(n analysis.Note) string {
	switch n := n.(type) {
	case analysis.Disobeyed:
		return fmt.Sprintf("at %s %s did not keep to its setting, so equal settings are not equal power there", disobeyedAt(n.At), actor(n.Side))
	case analysis.NothingShared:
		return "the sides share no setting: nothing can be compared"
	case analysis.ShiftsTakenOut:
		return fmt.Sprintf("run in %d passes, whose common shifts were taken out: %s between the lowest and the highest", n.Passes, roughPercent(n.Spread, false))
	case analysis.ComparedByName:
		return "settings without watts: no crossings, and bands have names"
	case analysis.GaugesLeftOut:
		return fmt.Sprintf("system watts are those of the batteries' gauges: what a gauge gets wrong in all its runs alike, about %s %% for each device, is not in the bounds",
			Margin(float64(n.Uncertainty)))
	case analysis.DaysLeftOut:
		return "two devices drift each on its own day, which no method can take out and the bounds do not include"
	case analysis.UnevenNoiseUnseen:
		return "with at most two runs per setting, noise that changes strongly with the setting is not noticed: bounds may be too narrow where it is largest"
	case analysis.SlowRunUnseen:
		return "with two runs per setting a slow run cannot be told from its repeat: about one comparison in ten then names a false winner where slow runs occur"
	case analysis.SingleRunSupported:
		return "a setting with a single run on a side is won only if a neighbouring setting supports it"
	case analysis.NoiseBorrowed:
		return "one side has nothing to estimate its noise from: it takes that of the other"
	case analysis.EqualWatts:
		return fmt.Sprintf("compared at equal measured %s watts: between measured points the curves are interpolated, and the bounds include that", n.Watts)
	case analysis.NoCommonWatts:
		return fmt.Sprintf("the sides were not measured in a common range of %s watts", n.Watts)
	case analysis.OutsideCommonWatts:
		return fmt.Sprintf("outside the %s to %s W that both sides cover nothing is compared: %s", Fixed(float64(n.FromW), 1), Fixed(float64(n.ToW), 1), Counted(n.Points, "measured point"))
	case analysis.StraightLine:
		return "a side has fewer than three points: between them a straight line is assumed, which the bounds do not cover"
	case analysis.OtherMetric:
		return fmt.Sprintf("%s has no %s: compared by %s", n.Workload, n.Metric, n.Instead)
	case analysis.SeveralPairs:
		return "several pairs of sides were compared: each is summed up over its workloads by itself"
	case analysis.Alone:
		return named(n.Group) + ": nothing to compare it with"
	}
	return ""
}

// disobeyedAt lists settings with what was drawn at them.
func disobeyedAt(list []analysis.DisobeyedSetting) string {
	places := make([]string, len(list))
	for i, d := range list {
		places[i] = Setting(d.SettingW, d.Setting)
		if d.DrewW.Known() {
			places[i] += " (where it drew " + Significant(float64(d.DrewW)) + " W)"
		}
	}
	return listed(places)
}

// actor is the device of a side, for a clause in which it does something.
func actor(side string) string {
	switch {
	case side == "battery" || side == "mains":
		return "the device on " + side
	case strings.Contains(side, "="):
		return "the device with " + Side(side)
	}
	return side
}

// Obedience says where sides of a comparison did not keep to their settings.
func Obedience(c *analysis.Comparison) []Sentence {
	var l list
	for _, n := range c.Notes {
		if d, ok := n.(analysis.Disobeyed); ok {
			l.tell(Doubtful, Capital(Note(d))+".")
		}
	}
	return l
}
