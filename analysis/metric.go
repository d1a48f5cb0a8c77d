package analysis

import (
	"errors"
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"
)

var (
	errNoRuns   = errors.New("no run was selected")
	errNoMetric = errors.New("no selected run has a result")
)

// chooseMetric returns the metric to analyse: the one asked for, or the one most
// runs have, by the alphabet if tied.
func chooseMetric(runs []Run, asked string) (string, error) {
	if len(runs) == 0 {
		return "", errNoRuns
	}
	count := make(map[string]int)
	for i := range runs {
		for name := range runs[i].Results {
			count[name]++
		}
	}
	names := slices.Sorted(maps.Keys(count))
	switch {
	case len(names) == 0:
		return "", errNoMetric
	case asked == "":
		// MaxFunc takes the first of equal ones, and names are sorted.
		return slices.MaxFunc(names, func(a, b string) int { return count[a] - count[b] }), nil
	case count[asked] == 0:
		return "", fmt.Errorf("no selected run has the result %q: there is %s", asked, strings.Join(names, ", "))
	}
	return asked, nil
}

// metricInfo is what the runs say of a metric.
type metricInfo struct {
	name  string
	unit  string
	lower bool // lower is better
	notes []Note
}

func (m metricInfo) better() string {
	if m.lower {
		return "lower"
	}
	return "higher"
}

// describeMetric reads unit and direction from the runs. Lower is better if any
// run says so, because that has to be said and the opposite does not. Where runs
// disagree a note tells.
func describeMetric(runs []Run, name string) metricInfo {
	m := metricInfo{name: name}
	units, lower, n := make(map[string]int), 0, 0
	for i := range runs {
		r, ok := runs[i].Results[name]
		if !ok {
			continue
		}
		n++
		if r.LowerIsBetter {
			lower++
		}
		if r.Unit != "" {
			units[r.Unit]++
		}
	}
	m.lower = lower > 0
	if m.lower && lower < n {
		m.notes = append(m.notes, Note{Code: NoteDirectionsDiffer, Metric: name, Count: lower, Of: n})
	}
	names := slices.Sorted(maps.Keys(units))
	if len(names) > 0 {
		m.unit = slices.MaxFunc(names, func(a, b string) int { return units[a] - units[b] })
	}
	if len(names) > 1 {
		m.notes = append(m.notes, Note{Code: NoteSeveralUnits, Metric: name, Names: names})
	}
	return m
}

// goodness is the metric turned so that more is better: the result, or its
// inverse where lower is better.
func (m metricInfo) goodness() Quantity {
	value := Metric(m.name)
	if !m.lower {
		return value
	}
	return func(r *Run) (float64, bool) {
		v, ok := value(r)
		if !ok || !usable(v) {
			return math.NaN(), ok
		}
		return 1 / v, true
	}
}
