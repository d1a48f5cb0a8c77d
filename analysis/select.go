package analysis

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"sweepd/run"
)

// Dimensions of a selection; any other word is a key of the variant.
const (
	dimDevice   = "device"
	dimSupply   = "supply"
	dimVariant  = "variant"  // as a factor: any key of the variant
	dimWorkload = "workload" // never compared
	dimSetting  = "setting"  // always the axis
)

// Selection picks the groups of a side by their labels.
type Selection []term

// term wants one dimension to have one value; the value "" wants the variant to
// lack the key.
type term struct{ dimension, value string }

// ParseSelection reads a side as a user writes it: a device's name or a supply
// if that is the factor, else pairs joined by commas, such as
// "device=unit-oak,cores=6". Keys that are neither device nor supply belong to
// the variant.
func ParseSelection(factor, text string) (Selection, error) {
	if !strings.Contains(text, "=") {
		if factor != dimDevice && factor != dimSupply {
			return nil, fmt.Errorf("side %q: expected pairs such as cores=6 or device=unit-oak", text)
		}
		if text == "" {
			return nil, fmt.Errorf("side %q: expected the name of a %s", text, factor)
		}
		return Selection{{factor, text}}, checkSide(text, factor, text)
	}
	var s Selection
	for pair := range strings.SplitSeq(text, ",") {
		key, value, ok := strings.Cut(strings.TrimSpace(pair), "=")
		switch {
		case !ok || key == "":
			return nil, fmt.Errorf("side %q: %q is not a pair such as cores=6", text, pair)
		case key == dimWorkload || key == dimSetting || key == dimVariant:
			return nil, fmt.Errorf("side %q: sides cannot differ in %s; use device=, supply= or a key of the variant", text, key)
		case slices.ContainsFunc(s, func(t term) bool { return t.dimension == key }):
			return nil, fmt.Errorf("side %q: %s is given twice", text, key)
		}
		if err := checkSide(text, key, value); err != nil {
			return nil, err
		}
		s = append(s, term{key, value})
	}
	return s, nil
}

// checkSide tells why no group can have the value that a side names; an empty one is that
// of groups of which it is unknown.
func checkSide(side, dimension, value string) error {
	if dimension != dimSupply || value == "" {
		return nil
	}
	if err := run.CheckSupply(value); err != nil {
		return fmt.Errorf("side %q: %w", side, err)
	}
	return nil
}

// matches tells whether the group has every label wanted; an empty selection
// takes any group.
func (s Selection) matches(g Group) bool {
	for _, t := range s {
		if g.value(t.dimension) != t.value {
			return false
		}
	}
	return true
}

func (s Selection) String() string {
	pairs := make([]string, len(s))
	for i, t := range s {
		pairs[i] = t.dimension + "=" + t.value
	}
	return strings.Join(pairs, ",")
}

// sides are two selections and the dimensions in which they differ.
type sides struct {
	a, b       Selection
	anyA       bool // a is every level but b
	factor     string
	dimensions []string
}

// name is what a group is called within the comparison.
func (s sides) name(g Group) string {
	if s.factor == dimDevice || s.factor == dimSupply {
		return g.value(s.factor)
	}
	var pairs []string
	for _, d := range s.dimensions {
		if v := g.value(d); v != "" {
			pairs = append(pairs, d+"="+v)
		}
	}
	if len(pairs) == 0 {
		return s.dimensions[0] + "=" // none of the keys
	}
	return strings.Join(pairs, ",")
}

// pair is two groups to be compared. All pairs of one family are adjusted
// together: those of one workload and one level of all else that is not compared.
type pair struct {
	a, b   Group
	family Group
}

// pairs lists the comparisons of the sides over the given groups (in order), and
// says which groups of a side found nobody to be compared with.
func (s sides) pairs(groups []Group) (pairs []pair, notes []Note) {
	level := func(g Group) Group { return g.without(s.dimensions) }
	met := make(map[Group]bool)
	for _, b := range groups {
		if !s.b.matches(b) {
			continue
		}
		for _, a := range groups {
			if a == b || !s.a.matches(a) || level(a) != level(b) || (s.anyA && s.b.matches(a)) {
				continue
			}
			pairs = append(pairs, pair{a, b, level(b)})
			met[a], met[b] = true, true
		}
	}
	for _, g := range groups {
		if !met[g] && (s.a.matches(g) && !s.anyA || s.b.matches(g)) {
			notes = append(notes, Note{Code: NoteNoCounterpart, Group: g})
		}
	}
	slices.SortStableFunc(pairs, func(p, q pair) int { return cmp.Or(p.family.compare(q.family), p.b.compare(q.b), p.a.compare(q.a)) })
	return pairs, notes
}

// resolveSides reads the request's sides and fills in what is not said from the
// levels that the groups have.
func resolveSides(req CompareRequest, groups []Group) (sides, error) {
	s := sides{factor: req.By}
	if req.By == dimSupply {
		switch {
		case req.B == "" && req.A == "mains":
			req.B = "battery"
		case req.B == "":
			req.A, req.B = cmp.Or(req.A, "battery"), "mains"
		}
	}
	var err error
	if req.B == "" {
		if req, err = otherSide(req, groups); err != nil {
			return s, err
		}
	}
	if s.b, err = ParseSelection(req.By, req.B); err != nil {
		return s, err
	}
	if s.anyA = req.A == ""; !s.anyA {
		if s.a, err = ParseSelection(req.By, req.A); err != nil {
			return s, err
		}
	}
	for _, t := range slices.Concat(s.a, s.b) {
		if !slices.Contains(s.dimensions, t.dimension) {
			s.dimensions = append(s.dimensions, t.dimension)
		}
	}
	s.factor = s.factorName()
	return s, nil
}

// factorName names what differs: device, supply, variant, or selection where
// that is more than one of them.
func (s sides) factorName() string {
	kind := func(d string) string {
		if d == dimDevice || d == dimSupply {
			return d
		}
		return dimVariant
	}
	first := kind(s.dimensions[0])
	for _, d := range s.dimensions[1:] {
		if kind(d) != first {
			return "selection"
		}
	}
	return first
}

// otherSide fills in sides that were not named, where only one choice is left.
func otherSide(req CompareRequest, groups []Group) (CompareRequest, error) {
	dimension := req.By
	if req.By == dimVariant {
		dimension = onlyVariantKey(req.A, groups)
	}
	if dimension != dimDevice && (req.By != dimVariant || dimension == "") {
		return req, fmt.Errorf("compare: side b is not given; name what the others are compared with, for example %s",
			exampleSide(req.By, groups))
	}
	levels := levelsOf(dimension, groups)
	write := func(level string) string {
		if req.By == dimVariant {
			return dimension + "=" + level
		}
		return level
	}
	if req.A != "" {
		levels = slices.DeleteFunc(levels, func(l string) bool { return write(l) == req.A })
		if len(levels) == 1 {
			req.B = write(levels[0])
			return req, nil
		}
	} else if len(levels) == 2 {
		req.A, req.B = write(levels[0]), write(levels[1])
		return req, nil
	}
	return req, fmt.Errorf("compare by %s: found %s; a comparison needs two, or a side b to compare the others with",
		req.By, listed(levels, "nothing"))
}

// onlyVariantKey is the key of side a, or the only key that takes two values.
func onlyVariantKey(a string, groups []Group) string {
	if s, err := ParseSelection(dimVariant, a); err == nil && len(s) == 1 {
		return s[0].dimension
	}
	found := ""
	for _, g := range groups {
		for key := range g.Variant.Pairs() {
			if key == found || len(levelsOf(key, groups)) < 2 {
				continue
			}
			if found != "" {
				return ""
			}
			found = key
		}
	}
	return found
}

// levelsOf lists the values of a dimension in order.
func levelsOf(dimension string, groups []Group) []string {
	var levels []string
	for _, g := range groups {
		levels = append(levels, g.value(dimension))
	}
	slices.Sort(levels)
	return slices.Compact(levels)
}

func exampleSide(factor string, groups []Group) string {
	if factor == dimVariant {
		for _, g := range groups {
			if g.Variant != "" {
				return string(g.Variant)
			}
		}
		return "cores=12 (no run has a variant yet)"
	}
	return "device=unit-oak,cores=6"
}

// listed joins words for a sentence, at most ten of them.
func listed(words []string, none string) string {
	if len(words) == 0 {
		return none
	}
	return listedBy(", ", words)
}

func listedBy(separator string, words []string) string {
	const most = 10
	if len(words) > most {
		return fmt.Sprintf("%s and %d more", strings.Join(words[:most], separator), len(words)-most)
	}
	return strings.Join(words, separator)
}
