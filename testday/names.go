package testday

import (
	"context"
	"fmt"
	"maps"
	"slices"
	"strings"

	"sweepd/run"
	"sweepd/schedule"
	"sweepd/store"
)

// Named are names that a person gives, and the units of results by their names ("" for
// none).
type Named struct {
	Devices   []string          `json:"devices,omitempty"`
	Workloads []string          `json:"workloads,omitempty"`
	Settings  []string          `json:"settings,omitempty"` // names or watts
	Variants  []run.Variant     `json:"variants,omitempty"`
	Results   map[string]string `json:"results,omitempty"`
	// Run is the id of a run that has the results already: what it alone has was not
	// seen before. Empty for none.
	Run string `json:"run,omitempty"`
}

// NamedInStart are the names of a run that is started.
func NamedInStart(s run.Start) Named {
	return Named{Workloads: []string{s.Workload}, Settings: []string{s.Setting.Name()}, Variants: []run.Variant{s.Variant}}
}

// NamedInResults are the names and units of results.
func NamedInResults(list Results) Named {
	n := Named{Results: map[string]string{}}
	for name, r := range list {
		n.Results[name] = r.Unit
	}
	return n
}

// NamedInPlan are the names of a plan.
func NamedInPlan(p schedule.Plan) Named {
	var n Named
	for _, slot := range p.Slots {
		n.Devices = append(n.Devices, slot.Device)
		n.Workloads = append(n.Workloads, slot.Workload)
		n.Settings = append(n.Settings, slot.Setting.Name())
		n.Variants = append(n.Variants, slot.Variant)
	}
	return n
}

// What a doubted name is of.
const (
	ofDevice   = "device"
	ofWorkload = "workload"
	ofSetting  = "setting"
	ofKey      = "variant key"
	ofValue    = "variant value"
	ofResult   = "result"
	ofUnit     = "unit"
)

// NameDoubt is a name that was never seen, near one that was; or a unit in which a result
// never was.
type NameDoubt struct {
	What  string `json:"what"`  // device, workload, setting, variant key, variant value, result or unit
	Of    string `json:"of"`    // the variant key of a value, the result of a unit; else empty
	Typed string `json:"typed"` // what is doubted
	Near  string `json:"near"`  // what was seen
	// Factor is how many of the unit that was seen one of the typed one has; null where
	// they do not measure the same, and for all that is no unit.
	Factor *float64 `json:"factor"`
}

// String says what is doubted, as a sentence without its end.
func (d NameDoubt) String() string {
	typed := fmt.Sprintf("%s %q", d.What, d.Typed)
	switch d.What {
	case ofUnit:
		text := fmt.Sprintf("result %s was in %s before, not in %s", d.Of, d.Near, d.Typed)
		if d.Factor != nil && *d.Factor != 1 {
			text += fmt.Sprintf(" (1 %s is %.4g %s)", d.Typed, *d.Factor, d.Near)
		}
		return text
	case ofValue:
		typed = fmt.Sprintf("variant %s=%s", d.Of, d.Typed)
		return fmt.Sprintf("%s was not seen before, near %s=%s", typed, d.Of, d.Near)
	}
	return fmt.Sprintf("%s was not seen before, near %s", typed, d.Near)
}

// DoubtNames tells which names were never seen, and are near others that were. Of words
// the number in them counts: tile-sort-2 is no slip of tile-sort-3. A setting in watts is
// none, and the kernel's power profiles are seen.
func DoubtNames(w store.Words, n Named) []NameDoubt {
	doubts := []NameDoubt{}
	add := func(d NameDoubt) {
		if d.Near != "" && !slices.Contains(doubts, d) {
			doubts = append(doubts, d)
		}
	}
	names := func(what string, typed, seen []string) {
		for _, name := range typed {
			add(NameDoubt{What: what, Typed: name, Near: near(name, seen)})
		}
	}
	names(ofDevice, n.Devices, w.Devices)
	names(ofWorkload, n.Workloads, w.Workloads)
	settings := slices.DeleteFunc(slices.Clone(n.Settings), func(text string) bool {
		s, err := run.ParseSetting(text)
		return err != nil || s.Name() == ""
	})
	names(ofSetting, settings, slices.Concat(w.Settings, run.PlatformProfiles))
	values := map[string][]string{}
	for _, v := range w.Variants {
		for key, value := range v.Pairs() {
			values[key] = append(values[key], value)
		}
	}
	keys := slices.Sorted(maps.Keys(values))
	for _, v := range n.Variants {
		for key, value := range v.Pairs() {
			add(NameDoubt{What: ofKey, Typed: key, Near: near(key, keys)})
			add(NameDoubt{What: ofValue, Of: key, Typed: value, Near: near(value, values[key])})
		}
	}
	units, metrics := map[string][]string{}, []string{}
	for _, r := range w.Results {
		units[r.Name] = append(units[r.Name], r.Unit)
		metrics = append(metrics, r.Name)
	}
	for _, name := range slices.Sorted(maps.Keys(n.Results)) {
		add(NameDoubt{What: ofResult, Typed: name, Near: near(name, metrics)})
		if d, doubted := doubtUnit(name, n.Results[name], units[name]); doubted {
			add(d)
		}
	}
	return doubts
}

// near is the name of a list that another is probably a slip of, "" for none.
func near(name string, list []string) string {
	if name == "" {
		return ""
	}
	return run.NearName(name, list)
}

// doubtUnit doubts a unit in which a result never was, though it was in others. No unit
// says nothing.
func doubtUnit(name, unit string, before []string) (d NameDoubt, doubted bool) {
	before = slices.DeleteFunc(slices.Clone(before), func(u string) bool { return u == "" })
	if unit == "" || len(before) == 0 || slices.Contains(before, unit) {
		return d, false
	}
	d = NameDoubt{What: ofUnit, Of: name, Typed: unit, Near: before[0]}
	for _, u := range before {
		if factor, same := run.UnitFactor(unit, u); same {
			d.Near, d.Factor = u, &factor
			break
		}
	}
	return d, true
}

// Seen tells what was seen.
type Seen interface {
	Run(ctx context.Context, id string) (run.Record, error)
	Words(context.Context) (store.Words, error)
}

// NamesAnswer is what is doubted of names.
type NamesAnswer struct {
	Doubts []NameDoubt `json:"doubts"`
}

// CheckNames tells which of the names that a person gives are probably slips.
var CheckNames = &Operation[Named, NamesAnswer]{
	About{Method: "POST", Path: "/names", Summary: "Tells which names were never seen, but are near ones that were."},
	func(ctx context.Context, d *Day, n Named) (a NamesAnswer, err error) {
		a.Doubts, err = n.doubted(ctx, d.Store)
		return a, err
	},
}

func (n Named) doubted(ctx context.Context, s Seen) ([]NameDoubt, error) {
	w, err := s.Words(ctx)
	if err == nil && n.Run != "" {
		var r run.Record
		r, err = s.Run(ctx, n.Run)
		w = without(w, r.Results)
	}
	return DoubtNames(w, n), err
}

// without is what was seen before a run got its results: a name that no other has.
func without(w store.Words, results map[string]run.Result) store.Words {
	var before []store.ResultWord
	for _, word := range w.Results {
		if r, has := results[word.Name]; has && r.Unit == word.Unit {
			word.Runs--
		}
		if word.Runs > 0 {
			before = append(before, word)
		}
	}
	w.Results = before
	return w
}

// StartWarned is a run that was started, with what somebody who started it without
// being asked should read.
type StartWarned struct {
	run.Run
	Warnings []string `json:"warnings"`
}

// WarnStart starts a run, and tells which of its names are probably slips.
func WarnStart(ctx context.Context, a Agent, seen Seen, s run.Start) (w StartWarned, err error) {
	doubts, _ := NamedInStart(s).doubted(ctx, seen) // a start does not fail for it
	w.Warnings = []string{}
	for _, d := range doubts {
		w.Warnings = append(w.Warnings, d.String())
	}
	w.Run, err = Start(ctx, a, s)
	return w, err
}

// Usable tells whether what was seen can be put in the place of what was typed: a name
// always, a unit where the number can be converted.
func (d NameDoubt) Usable() bool { return d.What != ofUnit || d.Factor != nil }

// Correction are the flags of `sweepd run correct` that put what was seen in the place of
// what was typed, "" where there are none.
func (d NameDoubt) Correction() string {
	switch d.What {
	case ofDevice, ofWorkload, ofSetting:
		return fmt.Sprintf("--set-%s %q", d.What, d.Near)
	case ofValue:
		return fmt.Sprintf("--set-variant %q", d.Of+"="+d.Near)
	case ofResult:
		return fmt.Sprintf("--rename-result %q", d.Typed+"="+d.Near)
	}
	return ""
}

// InStart puts what was seen in the place of what was typed.
func (d NameDoubt) InStart(s run.Start) run.Start {
	c := d.inCell(run.Cell{Workload: s.Workload, Setting: s.Setting, Variant: s.Variant})
	s.Workload, s.Setting, s.Variant = c.Workload, c.Setting, c.Variant
	return s
}

func (d NameDoubt) inCell(c run.Cell) run.Cell {
	switch {
	case d.What == ofDevice && c.Device == d.Typed:
		c.Device = d.Near
	case d.What == ofWorkload && c.Workload == d.Typed:
		c.Workload = d.Near
	case d.What == ofSetting && c.Setting.Name() == d.Typed:
		c.Setting = run.Named(d.Near)
	}
	c.Variant = d.inVariant(c.Variant)
	return c
}

func (d NameDoubt) inVariant(v run.Variant) run.Variant {
	pairs := map[string]string{}
	for key, value := range v.Pairs() {
		switch {
		case d.What == ofKey && key == d.Typed:
			key = d.Near
		case d.What == ofValue && key == d.Of && value == d.Typed:
			value = d.Near
		}
		pairs[key] = value
	}
	return run.NewVariant(pairs)
}

// InResults puts what was seen in the place of what was typed; a number is converted to
// the unit that was seen.
func (d NameDoubt) InResults(list Results) Results {
	out := maps.Clone(list)
	switch r, there := out[d.Typed]; {
	case d.What == ofResult && there:
		delete(out, d.Typed)
		if _, twice := out[d.Near]; !twice {
			out[d.Near] = r
		}
	case d.What == ofUnit && d.Usable():
		r := out[d.Of]
		r.Value, r.Unit = r.Value**d.Factor, d.Near
		out[d.Of] = r
	}
	return out
}

// InUnit is a result whose unit is doubted, as it is given in the one that was seen; the
// number is left open where it cannot be converted.
func (d NameDoubt) InUnit(list Results) string {
	if !d.Usable() {
		return d.Of + "=…" + d.Near
	}
	return typedResult(d.Of, d.InResults(list)[d.Of])
}

// NamesError is returned where names of a plan are probably slips.
type NamesError struct {
	Doubts []NameDoubt `json:"doubts"`
}

func (e *NamesError) Error() string {
	texts := make([]string, len(e.Doubts))
	for i, d := range e.Doubts {
		texts[i] = d.String()
	}
	return strings.Join(texts, "; ")
}

// Kind is the error's kind, see Kinds.
func (e *NamesError) Kind() string { return "names_doubted" }

// InPlan puts what was seen in the place of what was typed.
func (d NameDoubt) InPlan(p schedule.Plan) schedule.Plan {
	p.Slots, p.Hard = slices.Clone(p.Slots), slices.Clone(p.Hard)
	for i := range p.Hard {
		if d.What == ofKey && p.Hard[i] == d.Typed {
			p.Hard[i] = d.Near
		}
	}
	for i := range p.Slots {
		p.Slots[i].Cell = d.inCell(p.Slots[i].Cell)
	}
	return p
}

// None tells whether nothing is named.
func (n Named) None() bool {
	named := func(list []string) bool { return slices.ContainsFunc(list, func(s string) bool { return s != "" }) }
	return !named(n.Devices) && !named(n.Workloads) && !named(n.Settings) && !slices.ContainsFunc(n.Variants, func(v run.Variant) bool { return v != "" }) && len(n.Results) == 0
}

// Named are the names by which runs are selected.
func (q FilterRequest) Named() Named {
	n := Named{Devices: []string{q.Device}, Workloads: []string{q.Workload}, Settings: []string{q.Setting}}
	if v, err := run.ParseVariantPairs(q.Variant); err == nil {
		n.Variants = []run.Variant{v}
	}
	return n
}

// Named are the names by which runs are selected, and the result.
func (q AnalysisRequest) Named() Named {
	n := q.FilterRequest.Named()
	if q.Metric != "" {
		n.Results = map[string]string{q.Metric: ""}
	}
	return n
}

// Named are the names by which runs are selected, the results, and the device that the
// others are compared with.
func (q ReportQuestion) Named() Named {
	n := q.AnalysisRequest.Named()
	n.Devices = append(n.Devices, q.B)
	return n
}

// Named are the names by which runs are selected, and those of the sides.
func (q CompareRequest) Named() Named {
	n := q.AnalysisRequest.Named()
	for _, side := range []string{q.A, q.B} {
		if side != "" && !strings.Contains(side, "=") && q.By == "device" {
			n.Devices = append(n.Devices, side)
		}
		for pair := range strings.SplitSeq(side, ",") {
			switch key, value, _ := strings.Cut(strings.TrimSpace(pair), "="); key {
			case "device":
				n.Devices = append(n.Devices, value)
			case "supply", "since", "until":
			default:
				if v, err := run.ParseVariantPairs([]string{pair}); err == nil {
					n.Variants = append(n.Variants, v)
				}
			}
		}
	}
	return n
}
