package sentence

import (
	"cmp"
	"slices"
	"strings"

	"sweepd/analysis"
)

// A spot is what two sides of a comparison share: the workload, with the metric where
// there are several, what feeds them, and the variant.
type spot struct{ workload, supply, variant string }

// spotsOf are the spots of comparisons.
func spotsOf(list []*analysis.Comparison) map[*analysis.Comparison]spot {
	out := map[*analysis.Comparison]spot{}
	for _, c := range list {
		workload := c.Workload
		if slices.ContainsFunc(list, func(x *analysis.Comparison) bool { return x.Workload == c.Workload && x.Metric != c.Metric }) {
			workload += " (" + MetricName(c.Metric) + ")"
		}
		out[c] = spot{workload, supplyOf(c), OrEmpty(c.Variant)}
	}
	return out
}

// at are the spots of some of the comparisons, each once, in their order.
func at(spots map[*analysis.Comparison]spot, list []*analysis.Comparison) []spot {
	var out []spot
	for _, c := range list {
		if !slices.Contains(out, spots[c]) {
			out = append(out, spots[c])
		}
	}
	slices.SortFunc(out, func(a, b spot) int {
		return cmp.Or(cmp.Compare(a.workload, b.workload), -cmp.Compare(a.supply, b.supply), cmp.Compare(a.variant, b.variant))
	})
	return out
}

// supplyOf is what feeds both sides, "-" where they differ in that.
func supplyOf(c *analysis.Comparison) string {
	if c.Supply == nil {
		return "-"
	}
	return *c.Supply
}

// supplyWords say what feeds a device.
func supplyWords(supply string) string {
	switch supply {
	case "mains":
		return "plugged in"
	case "-":
		return ""
	}
	return "on " + cmp.Or(supply, "an unknown supply")
}

// where says under which conditions something is so, before the sentence or, where it is so
// under all there are, behind it.
func where(here, every []spot) (before, behind string) {
	workloads, supplies, variants := dimensions(here)
	all, fed, changed := dimensions(every)
	if len(here) == len(every) && len(every) < len(all)*len(fed)*len(changed) {
		return "", ", wherever they were compared"
	}
	if len(here) == len(every) {
		var words []string
		if len(all) > 1 {
			words = append(words, "in "+allOf(len(all))+" workloads")
		}
		if len(fed) > 1 {
			words = append(words, Listed(supplied(fed), 3))
		}
		if len(changed) > 1 {
			words = append(words, "with every variant")
		}
		if len(words) == 0 {
			return "", ""
		}
		return "", ", " + strings.Join(words, ", ")
	}
	if len(here) == len(workloads)*len(supplies)*len(variants) {
		var words []string
		if len(workloads) < len(all) {
			words = append(words, "in "+Listed(workloads, 3))
		}
		if len(supplies) < len(fed) {
			words = append(words, Listed(supplied(supplies), 3))
		}
		if len(variants) < len(changed) {
			words = append(words, "with "+Listed(variantWords(variants), 3))
		}
		return strings.Join(words, " "), ""
	}
	spotWords := func(s spot) string {
		text := "in " + s.workload
		if len(fed) > 1 {
			text += " " + supplyWords(s.supply)
		}
		if len(changed) > 1 {
			text += " with " + variantWords([]string{s.variant})[0]
		}
		return text
	}
	if len(here) > 1 && len(here) == len(every)-1 {
		i := slices.IndexFunc(every, func(s spot) bool { return !slices.Contains(here, s) })
		return "everywhere but " + spotWords(every[i]) + ",", ""
	}
	var words []string
	for _, s := range here {
		words = append(words, spotWords(s))
	}
	return Listed(words, 3), ""
}

// dimensions are the workloads, supplies and variants of spots.
func dimensions(list []spot) (workloads, supplies, variants []string) {
	add := func(to *[]string, s string) {
		if !slices.Contains(*to, s) {
			*to = append(*to, s)
		}
	}
	for _, s := range list {
		add(&workloads, s.workload)
		add(&supplies, s.supply)
		add(&variants, s.variant)
	}
	return workloads, supplies, variants
}

func supplied(supplies []string) []string {
	words := make([]string, len(supplies))
	for i, s := range supplies {
		words[i] = supplyWords(s)
	}
	return words
}

// variantWords are variants in words.
func variantWords(variants []string) []string {
	words := make([]string, len(variants))
	for i, v := range variants {
		words[i] = cmp.Or(v, "nothing changed")
	}
	return words
}

// numerals are small numbers in words.
var numerals = []string{"none", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve"}

// inWords is a number in words, which is no figure in a sentence.
func inWords(n int) string {
	if n < len(numerals) {
		return numerals[n]
	}
	return "many"
}

// allOf is "both", "all three".
func allOf(n int) string {
	if n == 2 {
		return "both"
	}
	return "all " + inWords(n)
}
