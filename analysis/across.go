package analysis

import (
	"math"
	"slices"
)

// addAcross sums the workloads up: the mean of their overall differences, each over the
// settings that both sides keep to, with
// se = sqrt(sum se^2)/W and Satterthwaite's degrees of freedom, plain t bounds.
// Workloads are compared with equal weight, as the geometric mean of the ratios.
// [Fleming & Wallace 1986; Satterthwaite 1946]
func (r *CompareResult) addAcross(confidence float64) {
	type key struct{ a, b Group }
	members := make(map[key][]*Comparison)
	var order []key
	for i := range r.Comparisons {
		c := &r.Comparisons[i]
		if c.OverallFollowed == nil { // no setting that both sides keep to
			continue
		}
		k := key{c.pair.a, c.pair.b}
		k.a.Workload, k.b.Workload = "", ""
		if members[k] == nil {
			order = append(order, k)
		}
		members[k] = append(members[k], c)
	}
	for _, k := range order {
		if list := members[k]; len(list) > 1 {
			first := list[0]
			r.AcrossPairs = append(r.AcrossPairs, AcrossPair{
				A: first.A, B: first.B, Device: first.Device, Supply: first.Supply, Variant: first.Variant,
				Across: across(list, confidence),
			})
		}
	}
	switch {
	case len(r.AcrossPairs) == 1 && len(order) == 1:
		r.Across = &r.AcrossPairs[0].Across
	case len(r.AcrossPairs) > 0:
		r.Notes = append(r.Notes, Note{Code: NoteSeveralPairs})
	}
}

// across sums up comparisons of one pair of sides.
func across(list []*Comparison, confidence float64) Across {
	w := float64(len(list))
	better := list[0].Better
	mixed := slices.ContainsFunc(list, func(c *Comparison) bool { return c.Better != better })
	if mixed {
		better = "higher"
	}
	var e effect
	v, nu := make([]float64, len(list)), make([]float64, len(list))
	for i, c := range list {
		d := c.effect.d
		if mixed && c.Better == "lower" {
			d = -d
		}
		e.d += d / w
		v[i], nu[i] = c.effect.se*c.effect.se, c.effect.nu
		e.se += v[i]
	}
	e.se, e.nu = math.Sqrt(e.se)/w, satterthwaite(v, nu)
	lower, upper := e.interval(confidence)
	verdict := (&comparisonBuilder{lower: better == "lower"}).verdict(lower, upper, math.Log1p(list[0].Margin))
	return Across{relative(e.d), relative(lower), relative(upper), len(list), better, verdict}
}
