package analysis

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"

	"sweepd/run"
)

// Axes and denominators of a comparison.
const (
	AtSetting = "setting" // set watts, or names
	AtPackage = "package" // measured package watts
	AtSystem  = "system"  // measured watts of the whole device
)

// defaultMargin is the relative difference that does not matter unless said otherwise.
const defaultMargin = 0.02

// CompareRequest says what to compare. Only By, or A and B, are needed.
type CompareRequest struct {
	By string // device, supply or variant; "" where A and B are full selections
	A  string // side a, see ParseSelection; "": every level but b, each compared with b
	B  string // side b; "": the other of two levels (supply: mains)

	Metric   string   // a result's name; "": the one that most selected runs have
	At       string   // align the sides at equal watts of this kind; "": setting
	Per      string   // compare results per watt of this kind; "": the results themselves
	Margin   *float64 // relative difference that does not matter, >= 0; nil: 0.02
	Declared float64  // relative SD of one run, for groups without any repeats; 0: not declared

	Confidence float64 // between 0.5 and 1; 0: 0.95
}

// ErrNoComparison says that no two groups of runs can be compared as asked.
var ErrNoComparison = errors.New("nothing to compare")

// noComparison is an ErrNoComparison in words of its own.
type noComparison struct{ error }

func (noComparison) Is(target error) bool { return target == ErrNoComparison }

// Compare compares groups of runs setting by setting: one comparison for each
// workload and each level of what is not compared. Without a side a, every level
// is compared with b, and the bounds of all of them hold together.
//
// The runs are not changed, their order does not matter, and no run is dropped
// because of its value; what has no logarithm is left out and counted in notes.
// The error wraps ErrNoComparison where the runs do not hold what was asked for.
func Compare(runs []run.Run, req CompareRequest) (CompareResult, error) {
	req, err := req.complete()
	if err != nil {
		return CompareResult{}, err
	}
	groups := runsByGroup(runs)
	if len(groups) == 0 {
		return CompareResult{}, fmt.Errorf("%w: no run was selected", ErrNoComparison)
	}
	order := sortedGroups(groups)
	between, err := resolveSides(req, order)
	if err != nil {
		return CompareResult{}, err
	}
	pairs, notes := between.pairs(order)
	if len(pairs) == 0 {
		return CompareResult{}, fmt.Errorf("%w: side a %q, side b %q; the runs are of %s", ErrNoComparison,
			cmp.Or(between.a.String(), "any other"), between.b.String(), describeGroups(order))
	}
	usual, err := pickMetric(runs, groups, pairs, req.Metric)
	if err != nil {
		return CompareResult{}, noComparison{fmt.Errorf("compare: %w", err)}
	}
	result := CompareResult{Comparisons: []Comparison{}, AcrossPairs: []AcrossPair{}, Notes: slices.Concat([]Note{}, severalMachines(runs), notes, usual.notes)}
	for _, family := range families(pairs) {
		metric := usual
		if req.Metric == "" {
			metric = result.metricOf(runs, groups, family, usual)
		}
		contests := make([]*comparisonBuilder, len(family))
		shared := 0
		for i, p := range family {
			contests[i] = newComparisonBuilder(runs, groups, p, metric, req)
			shared += contests[i].sharedSettings()
		}
		for i, c := range contests {
			c.decide(shared, c.req.Confidence)
			result.Comparisons = append(result.Comparisons, c.build(between, family[i]))
		}
	}
	result.addAcross(req.Confidence)
	return result, nil
}

// complete checks the request and fills in its defaults.
func (req CompareRequest) complete() (CompareRequest, error) {
	switch {
	case req.By != "" && req.By != dimDevice && req.By != dimSupply && req.By != dimVariant:
		return req, fmt.Errorf("compare by %q: expected device, supply or variant", req.By)
	case req.Margin != nil && !(*req.Margin >= 0 && finite(*req.Margin)):
		return req, fmt.Errorf("compare: margin %v: expected a relative difference such as 0.02", *req.Margin)
	case req.Confidence != 0 && !(req.Confidence >= 0.5 && req.Confidence < 1):
		return req, fmt.Errorf("compare: confidence %v: expected a number between 0.5 and 1", req.Confidence)
	case !(req.Declared >= 0 && finite(req.Declared)):
		return req, fmt.Errorf("compare: declared noise %v: expected a relative standard deviation such as 0.01", req.Declared)
	}
	for _, kind := range []string{req.At, req.Per} {
		if _, ok := powerOf[kind]; kind != "" && !ok {
			return req, fmt.Errorf("compare: watts of kind %q: expected setting, package or system", kind)
		}
	}
	margin := defaultMargin
	if req.Margin == nil {
		req.Margin = &margin
	}
	req.At = cmp.Or(req.At, AtSetting)
	if req.Confidence == 0 {
		req.Confidence = confidence
	}
	return req, nil
}

// powerOf gives the watts of a run by kind.
var powerOf = map[string]quantity{AtSetting: settingPower, AtPackage: packagePower, AtSystem: systemPower}

// pickMetric chooses the metric from the runs of all pairs: the one asked for, or the
// one that most of them have.
func pickMetric(runs []run.Run, groups map[Group][]int, pairs []pair, asked string) (metricInfo, error) {
	seen := make(map[Group]bool)
	total := 0
	for _, p := range pairs {
		for _, g := range []Group{p.a, p.b} {
			if !seen[g] {
				seen[g] = true
				total += len(groups[g])
			}
		}
	}
	if total < len(runs) {
		compared := make([]run.Run, 0, total)
		for i := range runs {
			if seen[groupOf(&runs[i])] {
				compared = append(compared, runs[i])
			}
		}
		runs = compared
	}
	name, err := chooseMetric(runs, asked)
	if err != nil {
		return metricInfo{}, err
	}
	return describeMetric(runs, name), nil
}

// metricOf is the metric by which a family is compared: the usual one if any of its
// runs has it, else the one that most of its runs have. (Workloads may report
// different results.)
func (r *CompareResult) metricOf(runs []run.Run, groups map[Group][]int, family []pair, usual metricInfo) metricInfo {
	for _, p := range family {
		for _, i := range slices.Concat(groups[p.a], groups[p.b]) {
			if _, ok := runs[i].Results[usual.name]; ok {
				return usual
			}
		}
	}
	own, err := pickMetric(runs, groups, family, "")
	if err != nil {
		return usual
	}
	for _, n := range append(own.notes, Note{Code: NoteOtherMetric, Group: Group{Workload: family[0].a.Workload}, Metric: usual.name, Name: own.name}) {
		addNote(&r.Notes, n)
	}
	return own
}

// families splits the pairs into those that are adjusted together, in order.
func families(pairs []pair) [][]pair {
	var all [][]pair
	for i, p := range pairs {
		if i == 0 || p.family != pairs[i-1].family {
			all = append(all, nil)
		}
		all[len(all)-1] = append(all[len(all)-1], p)
	}
	return all
}

func describeGroups(groups []Group) string {
	words := make([]string, len(groups))
	for i, g := range groups {
		words[i] = g.describe()
	}
	return listedBy("; ", words)
}

// same is the text that both sides have; nil where they differ.
func same[T ~string](a, b T) *string {
	if a != b {
		return nil
	}
	text := string(a)
	return &text
}

// relative turns a difference of logarithms into a relative difference.
func relative(d float64) Number { return Number(math.Expm1(d)) }
