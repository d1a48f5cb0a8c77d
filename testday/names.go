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
	Words(context.Context) (store.Words, error)
}

// CheckNames tells which of the names that a person gives are probably slips.
func CheckNames(ctx context.Context, s Seen, n Named) ([]NameDoubt, error) {
	w, err := s.Words(ctx)
	if err != nil {
		return nil, err
	}
	return DoubtNames(w, n), nil
}

// Usable tells whether what was seen can be put in the place of what was typed: a name
// always, a unit where the number can be converted.
func (d NameDoubt) Usable() bool { return d.What != ofUnit || d.Factor != nil }

// InStart puts what was seen in the place of what was typed.
func (d NameDoubt) InStart(s run.Start) run.Start {
	switch {
	case d.What == ofWorkload && s.Workload == d.Typed:
		s.Workload = d.Near
	case d.What == ofSetting && s.Setting.Name() == d.Typed:
		s.Setting = run.Named(d.Near)
	}
	s.Variant = d.inVariant(s.Variant)
	return s
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

// InPlan puts what was seen in the place of what was typed.
func (d NameDoubt) InPlan(p schedule.Plan) schedule.Plan {
	p.Slots = slices.Clone(p.Slots)
	for i := range p.Slots {
		cell := &p.Slots[i].Cell
		switch {
		case d.What == ofDevice && cell.Device == d.Typed:
			cell.Device = d.Near
		case d.What == ofWorkload && cell.Workload == d.Typed:
			cell.Workload = d.Near
		case d.What == ofSetting && cell.Setting.Name() == d.Typed:
			cell.Setting = run.Named(d.Near)
		}
		cell.Variant = d.inVariant(cell.Variant)
	}
	return p
}

// DoubtsText is a sentence about all doubts.
func DoubtsText(doubts []NameDoubt) string {
	texts := make([]string, len(doubts))
	for i, d := range doubts {
		texts[i] = d.String()
	}
	return strings.Join(texts, "; ")
}
