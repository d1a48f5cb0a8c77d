package analysis

import (
	"cmp"
	"slices"
	"strings"

	"sweepd/run"
)

// Group names the runs of one device, workload, supply and variant.
type Group struct {
	Device   string      `json:"device"`
	Workload string      `json:"workload"`
	Supply   run.Supply  `json:"supply"`
	Variant  run.Variant `json:"variant"`
}

func groupOf(r *run.Run) Group { return Group{r.Device, r.Workload, r.Supply, r.Variant} }

// value is what the group has for a dimension; "" where a variant lacks the key.
func (g Group) value(dimension string) string {
	switch dimension {
	case dimDevice:
		return g.Device
	case dimSupply:
		return string(g.Supply)
	}
	value, _ := g.Variant.Get(dimension)
	return value
}

// without is the group with the given dimensions made equal, so that groups
// that differ in nothing else become the same.
func (g Group) without(dimensions []string) Group {
	for _, key := range dimensions {
		g.Variant = g.Variant.Without(key)
	}
	if slices.Contains(dimensions, dimDevice) {
		g.Device = ""
	}
	if slices.Contains(dimensions, dimSupply) {
		g.Supply = ""
	}
	return g
}

func (g Group) compare(h Group) int {
	return cmp.Or(cmp.Compare(g.Workload, h.Workload), cmp.Compare(g.Device, h.Device),
		cmp.Compare(g.Supply, h.Supply), cmp.Compare(g.Variant, h.Variant))
}

// describe names a group in a sentence.
func (g Group) describe() string {
	words := []string{cmp.Or(g.Device, "unnamed device"), cmp.Or(g.Workload, "unnamed workload")}
	for _, w := range []string{string(g.Supply), string(g.Variant)} {
		if w != "" {
			words = append(words, w)
		}
	}
	return strings.Join(words, ", ")
}

// runsByGroup sorts the indices of the runs by group.
func runsByGroup(runs []run.Run) map[Group][]int {
	groups := make(map[Group][]int)
	for i := range runs {
		g := groupOf(&runs[i])
		groups[g] = append(groups[g], i)
	}
	return groups
}

// sortedGroups lists the groups in a fixed order.
func sortedGroups(groups map[Group][]int) []Group {
	list := make([]Group, 0, len(groups))
	for g := range groups {
		list = append(list, g)
	}
	slices.SortFunc(list, Group.compare)
	return list
}
