package sentence

import (
	"cmp"
	"fmt"
	"math"
	"strings"

	"sweepd/analysis"
)

// Note says what a reader must know of the numbers beside it, as a clause without
// a capital and a full stop. It orders nobody about: a terminal may add what can be
// done (report/text), a published page may not.
func Note(n analysis.Note) string {
	for _, say := range []func(analysis.Note) string{noteOnRuns, noteOnComparison, noteBesides, noteOnCurve, noteOnBattery, noteOnValue} {
		if text := say(n); text != "" {
			return text
		}
	}
	return fmt.Sprintf("%T", n) // TestNoteHasWords keeps it from being read
}

// Notes says each of a list.
func Notes(list []analysis.Note) []string {
	texts := make([]string, len(list))
	for i, n := range list {
		texts[i] = Note(n)
	}
	return texts
}

// noteOnRuns says what any analysis may note.
func noteOnRuns(n analysis.Note) string {
	switch n := n.(type) {
	case analysis.LeftOutRuns:
		return ofSide(n.Side) + Counted(n.Runs, "run") + " left out: " + whyLeftOut(n)
	case analysis.NoiseEstimate:
		return ofSide(n.Side) + noiseFrom[n.Source]
	case analysis.UnlikeRepeats:
		return fmt.Sprintf("%s %s and %s in all numbers", Counted(n.Runs, "run"), plural(n.Runs, "differs from its repeats", "differ from their repeats"), plural(n.Runs, "stays", "stay"))
	case analysis.DirectionsDiffer:
		return fmt.Sprintf("%d of %d runs say that a lower %s is better, the others do not: taken as lower for all", n.LowerIn, n.All, n.Metric)
	case analysis.SeveralUnits:
		return fmt.Sprintf("%s has several units (%s): the numbers are compared as they are", n.Metric, strings.Join(n.Units, ", "))
	}
	return ""
}

var noiseFrom = map[analysis.NoiseSource]string{
	analysis.NoisePooledRoughness: "few repeats: the noise is estimated from them and from the roughness of the curve",
	analysis.NoiseRoughness:       "no repeats: the noise is estimated from the roughness of the curve alone, which a dip or a kink makes too large",
	analysis.NoiseDeclared:        "no repeats: the noise is the declared one",
	analysis.NoiseNone:            "neither repeats nor enough settings to estimate the noise: no intervals",
}

func whyLeftOut(n analysis.LeftOutRuns) string {
	var parts []string
	if n.Metric != "" {
		parts = append(parts, n.Metric)
	}
	for _, kind := range n.Watts {
		if n.Metric == "" && kind == analysis.AtSystem {
			parts = append(parts, "power of the whole device")
			continue
		}
		parts = append(parts, kind+" watts")
	}
	quantity := strings.Join(parts, " and ")
	switch n.Why {
	case analysis.LeftOutMissing:
		return "without " + quantity
	case analysis.LeftOutSetting:
		quantity = "set watts"
	}
	return quantity + " not finite, zero or negative"
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
	return Group(cmp.Or(g.Device, "unnamed device"), cmp.Or(g.Workload, "unnamed workload"), g.Supply, g.Variant)
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
