package report

import (
	"cmp"
	"errors"
	"fmt"
	"maps"
	"math"
	"slices"
	"strconv"

	"sweepd/analysis"
	"sweepd/report/sentence"
	"sweepd/run"
)

// Questions say what a study asks. The zero value asks everything with the
// defaults of the commands.
type Questions struct {
	Metrics   []string // results to look at; empty: of each workload the one that most of its runs have
	Reference string   // with more than two devices: the one that the others are compared with; "": the one that is best on the whole
	Margin    *float64 // relative difference that does not matter; nil: 0.02
	Declared  float64  // relative SD of one run, where nothing was repeated
	Full      []analysis.FullEnergy
	Reserve   float64
	Prices    analysis.Prices
	// All are the runs of all devices tested so far, which are ranked against Reference, or
	// against the device of the report where it is of one; they may be the runs themselves.
	// nil: nothing is ranked.
	All []run.Run
	// SwitchedOff are the runs on battery that ended as the device switched off.
	SwitchedOff []run.Run
}

// Study is what the analysis says of a set of runs.
type Study struct {
	Topics  []Topic
	Battery *analysis.BatteryResult                       // nil without runs on battery
	Claims  []analysis.Claim                              // what may be said at the top
	stated  map[*analysis.Comparison]*analysis.Comparison // every comparison of the topics, as the page may claim it
	runs    []run.Run
	all     []run.Run // of all devices tested so far, where they are ranked
}

// allRuns are the runs of all devices, those of the page where no others are ranked.
func (s *Study) allRuns() []run.Run {
	if len(s.all) > 0 {
		return s.all
	}
	return s.runs
}

// evidence is all that the page shows of leads and curves.
func (s *Study) evidence() []analysis.Evidence {
	list := make([]analysis.Evidence, len(s.Topics))
	for i := range s.Topics {
		t := &s.Topics[i]
		list[i] = analysis.Evidence{Curve: &t.Curve, Comparisons: t.comparisons()}
		if t.All != nil && t.All != t.Device {
			list[i].Comparisons = append(list[i].Comparisons, t.All)
		}
	}
	return list
}

// state says what the page may claim of all that it shows: its claims, and each comparison
// with the bounds of their error budget.
func (s *Study) state() {
	evidence := s.evidence()
	s.Claims, s.stated = analysis.Claims(evidence), map[*analysis.Comparison]*analysis.Comparison{}
	budget := analysis.NewBudget(evidence)
	for _, e := range evidence {
		for _, r := range e.Comparisons {
			for i := range r.Comparisons {
				x := budget.Restate(&r.Comparisons[i])
				s.stated[&r.Comparisons[i]] = &x
			}
		}
	}
}

// claimable is a comparison of the topics as the page may claim it; one that is so already
// stays as it is.
func (s *Study) claimable(c *analysis.Comparison) *analysis.Comparison {
	if x := s.stated[c]; x != nil {
		return x
	}
	return c
}

// Topic is one metric of the workloads that report it.
type Topic struct {
	Metric    string
	Workloads []string
	Curve     analysis.CurveResult
	Device    *analysis.CompareResult // device against device
	Reference string                  // of more than two devices the one that the others are compared with
	All       *analysis.CompareResult // all devices tested so far against one; Device itself where they are those of the report
	AtPackage *analysis.CompareResult // the same at equal package watts, where a device does not keep to a setting
	Supply    *analysis.CompareResult // battery against mains
	Variants  []VariantComparison
	Value     *analysis.ValueResult
	Left      map[string][]string // by workload: further metrics that were not asked for
}

// comparisons are all comparisons of a topic: of devices, at equal settings and at equal
// watts, of supplies, of variants.
func (t *Topic) comparisons() []*analysis.CompareResult {
	var list []*analysis.CompareResult
	for _, r := range []*analysis.CompareResult{t.Device, t.AtPackage, t.Supply} {
		if r != nil {
			list = append(list, r)
		}
	}
	for i := range t.Variants {
		list = append(list, &t.Variants[i].Result)
	}
	return list
}

// VariantComparison is the levels of one key of the variant compared.
type VariantComparison struct {
	Key    string
	Result analysis.CompareResult
}

// ErrNothing is returned by Ask where there is no run.
var ErrNothing = errors.New("report: no finished run was selected: there is nothing to report")

// Ask answers every question that the runs can answer: those that they cannot
// are left out. The runs are those that count, and are not changed.
func Ask(runs []run.Run, q Questions) (Study, error) {
	s := Study{runs: runs, all: q.All}
	if len(runs) == 0 {
		return s, ErrNothing
	}
	byMetric, left := topics(runs, q.Metrics)
	for _, asked := range q.Metrics {
		if byMetric[asked] == nil {
			names := levels(runs, func(r *run.Run) []string { return slices.Collect(maps.Keys(r.Results)) })
			return s, fmt.Errorf("report: no selected run has the result %q: there is %s", asked, sentence.Listed(names, 10))
		}
	}
	if devices := devicesOf(slices.Concat(runs, q.All)); q.Reference != "" && !slices.Contains(devices, q.Reference) {
		return s, fmt.Errorf("report: no selected run is of the device %q, which the others are to be compared with: there is %s", q.Reference, sentence.Listed(devices, 10))
	}
	for _, metric := range slices.Sorted(maps.Keys(byMetric)) {
		t, err := ask(runs, metric, byMetric[metric], q)
		if err != nil {
			return s, fmt.Errorf("report: %w", err)
		}
		t.Left = left
		s.Topics = append(s.Topics, t)
	}
	slices.SortStableFunc(s.Topics, func(a, b Topic) int { return cmp.Compare(a.Workloads[0], b.Workloads[0]) })
	s.state()
	for i := range s.Topics {
		if err := s.setValue(&s.Topics[i], q.Prices); err != nil {
			return s, fmt.Errorf("report: %w", err)
		}
	}
	if battery, err := analysis.Battery(runs, analysis.BatteryRequest{Full: q.Full, Reserve: q.Reserve, Declared: q.Declared, SwitchedOff: q.SwitchedOff}); err == nil {
		s.Battery = &battery
	} else if slices.ContainsFunc(runs, func(r run.Run) bool { return r.Supply == "battery" }) {
		return s, fmt.Errorf("report: %w", err)
	}
	return s, nil
}

// topics says which workloads are looked at by which metric.
func topics(runs []run.Run, asked []string) (byMetric map[string][]string, left map[string][]string) {
	count := map[string]map[string]int{}
	for i := range runs {
		w := runs[i].Workload
		if count[w] == nil {
			count[w] = map[string]int{}
		}
		for name := range runs[i].Results {
			count[w][name]++
		}
	}
	byMetric, left = map[string][]string{}, map[string][]string{}
	for _, w := range slices.Sorted(maps.Keys(count)) {
		chosen := asked
		if len(asked) == 0 {
			chosen = []string{analysis.MostFrequent(count[w])}
		}
		for _, name := range slices.Sorted(maps.Keys(count[w])) {
			if slices.Contains(chosen, name) {
				byMetric[name] = append(byMetric[name], w)
			} else {
				left[w] = append(left[w], name)
			}
		}
	}
	return byMetric, left
}

func ask(runs []run.Run, metric string, workloads []string, q Questions) (t Topic, err error) {
	subset := runs
	if selected := slices.DeleteFunc(slices.Clone(runs), func(r run.Run) bool { return !slices.Contains(workloads, r.Workload) }); len(selected) < len(runs) {
		subset = selected
	}
	t = Topic{Metric: metric, Workloads: workloads}
	if t.Curve, err = analysis.Curve(subset, analysis.CurveRequest{Metric: metric, Declared: q.Declared}); err != nil {
		return t, err
	}
	request := analysis.CompareRequest{Metric: metric, Margin: q.Margin, Declared: q.Declared}
	if t.Device, t.Reference, err = compareDevices(subset, request, q.Reference); err != nil {
		return t, err
	}
	if t.AtPackage, err = compareAtPackage(subset, request, t.Device); err != nil {
		return t, err
	}
	if t.All, err = rankDevices(subset, request, q, t.Device); err != nil {
		return t, err
	}
	request.By = "supply"
	if t.Supply, err = compare(subset, request); err != nil {
		return t, err
	}
	if t.Variants, err = compareVariants(subset, request); err != nil {
		return t, err
	}
	return t, nil
}

// setValue sets the prices against what may be said at the top.
func (s *Study) setValue(t *Topic, prices analysis.Prices) error {
	if t.Device == nil || len(prices.ByDevice) == 0 {
		return nil
	}
	restated := *t.Device
	restated.Comparisons = make([]analysis.Comparison, len(t.Device.Comparisons))
	for i := range restated.Comparisons {
		restated.Comparisons[i] = *s.claimable(&t.Device.Comparisons[i])
	}
	value, err := analysis.Value(restated, prices)
	t.Value = &value
	return err
}

// compare gives nil where the runs do not hold what is asked for.
func compare(runs []run.Run, r analysis.CompareRequest) (*analysis.CompareResult, error) {
	result, err := analysis.Compare(runs, r)
	if errors.Is(err, analysis.ErrNoComparison) || err == nil && len(result.Comparisons) == 0 {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	return &result, nil
}

// compareDevices compares two devices with each other, and more with one of them:
// the reference, else the one whose mean over the shared settings is best.
func compareDevices(runs []run.Run, r analysis.CompareRequest, reference string) (result *analysis.CompareResult, with string, err error) {
	devices := devicesOf(runs)
	if len(devices) < 2 {
		return nil, "", nil
	}
	r.By = "device"
	if len(devices) == 2 && reference == "" {
		r.A, r.B = devices[0], devices[1]
		result, err = compare(runs, r)
		return result, "", err
	}
	r.B = cmp.Or(reference, devices[0])
	if result, err = compare(runs, r); err != nil || result == nil || reference != "" {
		return result, r.B, err
	}
	if best := bestDevice(result, r.B); best != r.B {
		r.B = best
		result, err = compare(runs, r)
	}
	return result, r.B, err
}

func devicesOf(runs []run.Run) []string {
	return levels(runs, func(r *run.Run) []string { return []string{r.Device} })
}

func workloadsOf(runs []run.Run) []string {
	return levels(runs, func(r *run.Run) []string { return []string{r.Workload} })
}

// rankDevices compares all devices tested so far with one: the reference, else the device of
// the report where it is of one, else the best on the whole. nil where that is not asked for,
// or there is one device.
func rankDevices(runs []run.Run, r analysis.CompareRequest, q Questions, device *analysis.CompareResult) (*analysis.CompareResult, error) {
	if len(q.All) == 0 {
		return nil, nil
	}
	reference, own := q.Reference, devicesOf(runs)
	if reference == "" && len(own) == 1 {
		reference = own[0]
	}
	workloads := workloadsOf(runs)
	all := slices.DeleteFunc(slices.Clone(q.All), func(r run.Run) bool { return !slices.Contains(workloads, r.Workload) })
	if slices.Equal(devicesOf(all), own) {
		return device, nil
	}
	result, _, err := compareDevices(all, r, reference)
	return result, err
}

// compareAtPackage compares the same devices at equal package watts where one does not keep
// to a setting; nil where all do, or nothing can be compared so.
func compareAtPackage(runs []run.Run, r analysis.CompareRequest, atSetting *analysis.CompareResult) (*analysis.CompareResult, error) {
	if atSetting == nil || !slices.ContainsFunc(atSetting.Comparisons, func(c analysis.Comparison) bool { return c.Kept().Part }) {
		return nil, nil
	}
	r.By, r.At, r.B = "device", analysis.AtPackage, atSetting.Comparisons[0].B
	if !severalPairs(atSetting.Comparisons) {
		r.A = atSetting.Comparisons[0].A
	}
	result, err := compare(runs, r)
	if err != nil || result == nil {
		return nil, err
	}
	result.Comparisons = slices.DeleteFunc(result.Comparisons, func(c analysis.Comparison) bool { return c.Overall == nil })
	if len(result.Comparisons) == 0 {
		return nil, nil
	}
	return result, nil
}

// bestDevice is the device that is best on the whole: that with the best mean of its
// overall differences from a reference, which is 0 for the reference itself.
func bestDevice(r *analysis.CompareResult, reference string) string {
	sums, counts := map[string]float64{}, map[string]float64{}
	for i := range r.Comparisons {
		c := &r.Comparisons[i]
		if c.Overall == nil || !c.Overall.Diff.Known() {
			continue
		}
		gain := math.Log1p(float64(c.Overall.Diff))
		if c.Better == "lower" {
			gain = -gain
		}
		sums[c.A] += gain
		counts[c.A]++
	}
	best, most := reference, 0.0
	for _, device := range slices.Sorted(maps.Keys(sums)) {
		if mean := sums[device] / counts[device]; mean > most {
			best, most = device, mean
		}
	}
	return best
}

// compareVariants compares the levels of every key of the variant that has more
// than one. All are compared with the runs that lack the key, which is the device
// as it comes, else with the largest.
func compareVariants(runs []run.Run, r analysis.CompareRequest) ([]VariantComparison, error) {
	var list []VariantComparison
	for _, key := range levels(runs, func(r *run.Run) []string { return slices.Collect(maps.Keys(r.Variant.Map())) }) {
		values := levels(runs, func(r *run.Run) []string { return []string{variantValue(r.Variant, key)} })
		if len(values) < 2 {
			continue
		}
		slices.SortFunc(values, compareLevels)
		reference := values[len(values)-1]
		if values[0] == "" {
			reference = ""
		}
		r.By, r.A, r.B = "variant", "", key+"="+reference
		result, err := compare(runs, r)
		if err != nil {
			return nil, err
		}
		if result != nil {
			list = append(list, VariantComparison{key, *result})
		}
	}
	return list, nil
}

// levels are the values that something takes in the runs, each once and sorted.
func levels(runs []run.Run, of func(*run.Run) []string) []string {
	seen := map[string]bool{}
	for i := range runs {
		for _, value := range of(&runs[i]) {
			seen[value] = true
		}
	}
	return slices.Sorted(maps.Keys(seen))
}

func variantValue(v run.Variant, key string) string {
	value, _ := v.Get(key)
	return value
}

// compareLevels orders numbers by size, and before other words.
func compareLevels(a, b string) int {
	x, errX := strconv.ParseFloat(a, 64)
	y, errY := strconv.ParseFloat(b, 64)
	switch {
	case a == "" || b == "" || errX != nil && errY != nil:
		return cmp.Compare(a, b)
	case errX != nil:
		return 1
	case errY != nil:
		return -1
	}
	return cmp.Compare(x, y)
}
