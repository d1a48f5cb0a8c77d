package sentence

import (
	"cmp"
	"fmt"
	"math"
	"strings"
	"time"

	"sweepd/analysis"
	"sweepd/run"
)

// Note says what a reader must know of the numbers beside it, as a clause without
// a capital and a full stop. It orders nobody about: a terminal may add what can be
// done (report/text), a published page may not.
func Note(n analysis.Note) string {
	a, b := Side(n.A.Side), Side(n.B.Side)
	switch n.Code {
	case analysis.NoteQuantityMissing:
		return ofSide(n.Side) + Counted(n.Count, "run") + " left out: without " + quantityOf(n)
	case analysis.NotePowerUnclear:
		return ofSide(n.Side) + Counted(n.Count, "run") + " without power of the whole device: too short, or the discharge too uncertain"
	case analysis.NoteQuantityUnusable:
		return ofSide(n.Side) + Counted(n.Count, "run") + " left out: " + quantityOf(n) + " not finite, zero or negative"
	case analysis.NoteSettingUnusable:
		return ofSide(n.Side) + Counted(n.Count, "run") + " left out: set watts not finite, zero or negative"
	case analysis.NoteSeveralMachines:
		return fmt.Sprintf("runs of %s were recorded on %d machines, by what they say of themselves (%s): two devices of one name, or one whose system was installed anew", n.Name, n.Count, listed(n.Names))
	case analysis.NoteKeptInterrupted:
		return fmt.Sprintf("%s interrupted and kept by hand: %s at %s last stored sweep", Counted(n.Count, "run")+plural(n.Count, " was", " were"),
			plural(n.Count, "it ends", "they end"), plural(n.Count, "its", "their"))
	case analysis.NoteUnlikeRepeats:
		return fmt.Sprintf("%s %s and %s in all numbers", Counted(n.Count, "run"), plural(n.Count, "differs from its repeats", "differ from their repeats"), plural(n.Count, "stays", "stay"))
	case analysis.NoteDirectionsDiffer:
		return fmt.Sprintf("%d of %d runs say that a lower %s is better, the others do not: taken as lower for all", n.Count, n.Of, MetricName(n.Metric))
	case analysis.NoteSeveralUnits:
		return fmt.Sprintf("%s has several units (%s): the numbers are compared as they are", MetricName(n.Metric), strings.Join(n.Names, ", "))

	case analysis.NoteSettingsDisobeyed:
		return actor(n.Side) + " " + disobeyedAt(n.At) + ": equal settings are not equal power there"
	case analysis.NoteShiftsTakenOut:
		return fmt.Sprintf("run in %d passes: what all runs of a pass shifted by is taken out, %s between the lowest and the highest", n.Count, roughPercent(n.Ratio, false))
	case analysis.NoteGaugesLeftOut:
		return fmt.Sprintf("the watts of the whole device are those of the batteries' gauges: what a gauge gets wrong in all its runs alike, about %s %% for each device, is not in the intervals",
			Margin(float64(n.Ratio)))
	case analysis.NoteEqualWatts:
		return fmt.Sprintf("compared at equal measured %s watts: between measured points the curves are interpolated, which the intervals allow for", listed(n.Watts))
	case analysis.NoteNoCommonWatts:
		return fmt.Sprintf("the sides were not measured in a common range of %s watts", listed(n.Watts))
	case analysis.NoteOutsideCommonWatts:
		return fmt.Sprintf("outside the %s to %s W that both sides cover nothing is compared: %s", Fixed(float64(n.FromW), 1), Fixed(float64(n.ToW), 1), Counted(n.Count, "measured point"))
	case analysis.NoteOtherMetric:
		return fmt.Sprintf("%s has no %s: compared by %s", n.Group.Workload, MetricName(n.Metric), MetricName(n.Name))
	case analysis.NoteNoCounterpart:
		return named(n.Group) + ": nothing to compare it with"

	case analysis.ConfounderApart:
		return fmt.Sprintf("not interleaved in time: the last run of %s began before the first of %s, so anything that changed in between looks like a difference of the sides", a, b)
	case analysis.ConfounderDurations:
		return fmt.Sprintf("different duration: runs of %s last %s s on average, of %s %s s", a, Significant(float64(n.A.Mean)), b, Significant(float64(n.B.Mean)))
	case analysis.ConfounderStartTemperatures:
		return fmt.Sprintf("different start temperature: %s %s °C on average, %s %s °C", a, Fixed(float64(n.A.Mean), 1), b, Fixed(float64(n.B.Mean), 1))
	case analysis.ConfounderTimesOfDay:
		return fmt.Sprintf("different time of day: %s ran around %s UTC, %s around %s", a, timeOfDay(n.A.TimeOfDay), b, timeOfDay(n.B.TimeOfDay))
	case analysis.ConfounderCharges:
		return fmt.Sprintf("different charge: %s starts at %s %% on average, %s at %s %%", a, Fixed(100*float64(n.A.Mean), 0), b, Fixed(100*float64(n.B.Mean), 0))
	case analysis.ConfounderFindings:
		return fmt.Sprintf("%s: %d of %d runs of %s, %d of %d of %s", n.Name, n.A.Count, n.A.Of, a, n.B.Count, n.B.Of, b)
	case analysis.ConfounderFacts:
		return fmt.Sprintf("different %s: %s with %s, %s with %s", FactName(n.Name), factValues(n.Name, n.A.Values), a, factValues(n.Name, n.B.Values), b)
	case analysis.ConfounderDevices:
		return "the devices differ in " + listed(kindsOf(n.Names))
	case analysis.ConfounderWattsSources:
		return fmt.Sprintf("watts of the whole device from different sources: %d of %d runs of %s have them from an external meter, %d of %d of %s", n.A.Count, n.A.Of, a, n.B.Count, n.B.Of, b)
	case analysis.ConfounderUnits:
		return fmt.Sprintf("different unit of %s: %s with %s, %s with %s", MetricName(n.Metric), units(n.A.Values), a, units(n.B.Values), b)
	case analysis.ConfounderPasses:
		return fmt.Sprintf("results of %s move from pass to pass, by %s between the lowest and the highest of %d passes: the intervals do not allow for that",
			Side(n.Side), roughPercent(n.Ratio, false), n.Count)
	case analysis.ConfounderDrift:
		way := "rise"
		if n.Ratio < 0 {
			way = "fall"
		}
		return fmt.Sprintf("results of %s %s over the day, by %s in the %s of its runs: other runs at the same settings would differ by that alone", Side(n.Side), way, roughPercent(n.Ratio, false), Clock(n.Hours))
	case analysis.NoteDaysDiffer:
		whose := "results"
		if n.Side != "" {
			whose += " of " + Side(n.Side)
		}
		return fmt.Sprintf("%s shift between days, by %s from the lowest to the highest of %d: the means and intervals include what changed in between", whose, roughPercent(n.Ratio, false), n.Count)

	case analysis.NoteNoUsableResult:
		text := fmt.Sprintf("%s: no usable %s in %s", named(n.Group), n.Metric, Counted(n.Count, "run"))
		if len(n.Names) > 0 {
			text += fmt.Sprintf("; %s %s", plural(n.Count, "it has", "they have"), listed(n.Names))
		}
		return text
	case analysis.NoteSingleRunDepartures:
		return fmt.Sprintf("%s %s on a single run, which cannot tell a dip from a bad run", Counted(n.Count, "dip"), plural(n.Count, "rests", "each rest"))
	case analysis.NoteExternalWatts:
		return fmt.Sprintf("watts of the whole device of %d of %s are those of an external meter", n.Count, Counted(n.Of, "run"))
	case analysis.NoteEfficiencyLeftOut:
		return fmt.Sprintf("the result per %s is left out: only %d of %s have those watts", Denominator[n.Name], n.Count, Counted(n.Of, "setting"))
	case analysis.NoteRangeNotTested:
		return tooFewForRange(n) + ": which settings are ignored cannot be told"
	case analysis.NoteRangeWithoutNoise:
		return packagePower(n) + ", and nothing says how much results differ by chance: which settings are ignored cannot be told"
	case analysis.NoteRangeByResults:
		return packagePower(n) + ": which settings are ignored is told from results alone, which show two or more low ones but neither a single one nor a cap (a cap looks like a workload that needs no more)"

	case analysis.NoteNoUsablePower:
		if n.Count == 1 {
			return named(n.Group) + ": its run has no usable power of the whole device"
		}
		return fmt.Sprintf("%s: none of %d runs has a usable power of the whole device", named(n.Group), n.Count)
	case analysis.NoteLoneRunDown:
		return fmt.Sprintf("%s: run %s emptied the battery in %s; without finished runs on battery there is no prediction to set beside it",
			named(n.Group), run.ShortID(n.Run), Clock(n.Hours))
	case analysis.NoteOtherSupplies:
		return fmt.Sprintf("%s on mains or an unknown supply %s not count", Counted(n.Count, "run"), plural(n.Count, "does", "do"))
	case analysis.NotePackNotCounted:
		return fmt.Sprintf("the runtimes count the battery alone and not the pack of %s", n.Name)
	case analysis.NoteStartChargeUnknown:
		return fmt.Sprintf("%s down to the reserve did not say at which charge %s began: predicted from a full battery", Counted(n.Count, "run"), plural(n.Count, "it", "they"))

	case analysis.NoteOneDevice:
		return fmt.Sprintf("%s against %s: one device, so nothing is paid for the difference", a, b)
	case analysis.NotePriceUnknown:
		return fmt.Sprintf("the price of %s is not known", n.Name)
	case analysis.NoteSamePrice:
		return fmt.Sprintf("%s and %s cost the same", n.A.Side, n.B.Side)
	}
	return ofSide(n.Side) + fixedNotes[n.Code]
}

// fixedNotes are the clauses that say the same whatever the note holds, but for a
// side before it.
var fixedNotes = map[analysis.NoteCode]string{
	analysis.NoteNoiseFewRepeats: "few repeats: how much runs differ by chance is estimated from them and from how smooth the curve is",
	analysis.NoteNoiseNoRepeats:  "no repeats: how much runs differ by chance is guessed from how smooth the curve is; a dip or a kink makes that too large",
	analysis.NoteNoiseDeclared:   "no repeats: how much runs differ by chance is what was declared",
	analysis.NoteNoiseUnknown:    "neither repeats nor enough settings to tell how much runs differ by chance: no intervals",

	analysis.NoteNothingShared:      "the sides share no setting: nothing can be compared",
	analysis.NoteComparedByName:     "settings without watts: no crossings, and bands have names",
	analysis.NoteDaysLeftOut:        "two devices drift each on its own day, which no method can take out; the intervals do not allow for it",
	analysis.NoteUnevenNoiseUnseen:  "with at most two runs a setting, nobody notices that runs scatter more at some settings than at others: there the intervals may be too narrow",
	analysis.NoteSlowRunUnseen:      "with two runs per setting a slow run cannot be told from its repeat: about one comparison in ten then names a false winner where slow runs occur",
	analysis.NoteSingleRunSupported: "where a side has a single run, it is called ahead only if a neighbouring setting says so, too",
	analysis.NoteNoiseBorrowed:      "of one side nothing tells how much its runs differ by chance: it takes that of the other",
	analysis.NoteStraightLine:       "a side has fewer than three points: between them a straight line is assumed, which the intervals do not allow for",
	analysis.NoteSeveralPairs:       "several pairs of sides were compared: each is summed up over its workloads by itself",

	analysis.NoteCurveByName:   "settings without watts: it is not said which are followed, where the curve bends, what is enough, nor the result per set watt",
	analysis.NoteLowerIsBetter: "lower is better: a dip of -5 % is a result that is worse, and so higher, and the result for each watt is 1/(result x watts)",
	analysis.NoteNoOrder:       "the settings have names without a known order: no dips are looked for",
	analysis.NoteFlatResults:   "the results do not respond to the setting measurably",

	analysis.NoteFullEnergyChanges: "what the device says its battery holds when full changes from run to run: the latest counts",
	analysis.NoteFullEnergyUnknown: "what the battery holds when full is not known: no runtimes",
	analysis.NoteOverheadBySetting: "too few package watts to tell what the rest of the device draws: set watts are taken in their place, which is wrong where the device does not follow its setting",
	analysis.NoteNoOverhead:        "what the rest of the device draws cannot be told: it takes three runs at two different powers",
}

// Notes says each of a list.
func Notes(list []analysis.Note) []string {
	texts := make([]string, len(list))
	for i, n := range list {
		texts[i] = Note(n)
	}
	return texts
}

// Obedience says where sides of a comparison did not keep to their settings.
func Obedience(c *analysis.Comparison) []Sentence {
	var l list
	for _, n := range c.Notes {
		if n.Code == analysis.NoteSettingsDisobeyed {
			text := Note(n)
			if strings.HasPrefix(text, "the ") { // and no name
				text = Capital(text)
			}
			l.tell(Doubtful, text+".")
		}
	}
	return l
}

// quantityOf names the metric and the watts that left-out runs should have had.
func quantityOf(n analysis.Note) string {
	var parts []string
	if n.Metric != "" {
		parts = append(parts, MetricName(n.Metric))
	}
	for _, kind := range n.Watts {
		if n.Metric == "" && kind == analysis.AtSystem {
			parts = append(parts, "power of the whole device")
			continue
		}
		parts = append(parts, kind+" watts")
	}
	return strings.Join(parts, " and ")
}

// alikeDraw is the relative difference below which neighbouring settings drew alike. Common
// practice, no source.
const alikeDraw = 0.02

// disobeyedAt says what was drawn at settings that were not kept: "drew 7.00 W at 5 W and
// 6 W, 38.0 W at 54 W", "did not keep to quiet".
func disobeyedAt(list []analysis.DisobeyedSetting) string {
	var drew, unknown []string
	for i := 0; i < len(list); {
		first := list[i].DrewW
		if !first.Known() {
			unknown = append(unknown, Setting(list[i].SettingW, list[i].Setting))
			i++
			continue
		}
		least, most := first, first
		var places []string
		for ; i < len(list) && math.Abs(float64(list[i].DrewW-first)) <= alikeDraw*float64(first); i++ {
			least, most = min(least, list[i].DrewW), max(most, list[i].DrewW)
			places = append(places, Setting(list[i].SettingW, list[i].Setting))
		}
		watts := Significant(float64(least))
		if to := Significant(float64(most)); to != watts {
			watts += " to " + to
		}
		drew = append(drew, watts+" W at "+listed(places))
	}
	var parts []string
	if len(drew) > 0 {
		parts = append(parts, "drew "+strings.Join(drew, ", "))
	}
	if len(unknown) > 0 {
		parts = append(parts, "did not keep to "+listed(unknown))
	}
	return strings.Join(parts, " and ")
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

// ofSide leads a clause on one side of a comparison.
func ofSide(name string) string {
	if name == "" {
		return ""
	}
	return Side(name) + ": "
}

// named names a group within a clause.
func named(g analysis.Group) string {
	return Group(cmp.Or(g.Device, "unnamed device"), cmp.Or(g.Workload, "unnamed workload"), string(g.Supply), string(g.Variant))
}

// roughPercent writes a change in two digits, with its sign or without.
func roughPercent(ratio analysis.Number, sign bool) string {
	percent := math.Abs(100 * float64(ratio))
	switch {
	case percent == 0:
		return "0 %"
	case !(percent < 1000):
		return "more than 1000 %"
	case sign:
		return SignedPercent(float64(ratio), places(percent, 2)) + " %"
	}
	return Fixed(percent, places(percent, 2)) + " %"
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

// packagePower says how few settings have package watts.
func packagePower(n analysis.Note) string {
	if n.Count == 0 {
		return "no package power"
	}
	return fmt.Sprintf("package power at only %d of %s", n.Count, Counted(n.Of, "setting"))
}

// tooFewForRange says why neither power nor results tell the range.
func tooFewForRange(n analysis.Note) string {
	if n.Count == n.Of { // all have package watts: it is the settings that are too few
		return fmt.Sprintf("only %s", Counted(n.Of, "setting"))
	}
	inLine := fmt.Sprintf("only %s", Counted(n.InLine, "setting"))
	if n.InLine < n.Of {
		inLine += " in line with the trend"
	}
	return packagePower(n) + ", and " + inLine + " to judge by the results"
}
