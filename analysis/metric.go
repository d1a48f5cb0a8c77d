package analysis

import (
	"errors"
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"

	"sweepd/run"
)

var (
	errNoRuns   = errors.New("no run was selected")
	errNoMetric = errors.New("no selected run has a result")
)

// chooseMetric returns the metric to analyse: the one asked for, or the one most
// runs have, by the alphabet if tied.
func chooseMetric(runs []run.Run, asked string) (string, error) {
	if len(runs) == 0 {
		return "", errNoRuns
	}
	count := make(map[string]int)
	for i := range runs {
		for name := range runs[i].Results {
			count[name]++
		}
	}
	switch {
	case len(count) == 0:
		return "", errNoMetric
	case asked == "":
		return MostFrequent(count), nil
	case count[asked] == 0:
		return "", fmt.Errorf("no selected run has the result %q: there is %s", asked, strings.Join(slices.Sorted(maps.Keys(count)), ", "))
	}
	return asked, nil
}

// MostFrequent is the name with the largest count, which is above 0: the first of the
// alphabet where several have it, "" where none does. Of how many runs have each result
// it is the metric that is looked at unless another is asked for.
func MostFrequent(count map[string]int) string {
	most := ""
	for name, n := range count {
		if n > count[most] || n == count[most] && n > 0 && name < most {
			most = name
		}
	}
	return most
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
// disagree a note says so.
func describeMetric(runs []run.Run, name string) metricInfo {
	m := metricInfo{name: name}
	units, lower, n := make(map[string]int), 0, 0
	for i := range runs {
		r, ok := runs[i].Results[name]
		if !ok {
			continue
		}
		n++
		if r.Better == run.Lower {
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
	m.unit = MostFrequent(units)
	if len(units) > 1 {
		m.notes = append(m.notes, Note{Code: NoteSeveralUnits, Metric: name, Names: slices.Sorted(maps.Keys(units))})
	}
	return m
}

// goodness is the metric turned so that more is better: the result, or its
// inverse where lower is better.
func (m metricInfo) goodness() quantity {
	value := resultNamed(m.name)
	if !m.lower {
		return value
	}
	return func(r *run.Run) (float64, bool) {
		v, ok := value(r)
		if !ok || !usable(v) {
			return math.NaN(), ok
		}
		return 1 / v, true
	}
}
