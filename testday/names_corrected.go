package testday

import (
	"context"
	"slices"
	"strings"

	"sweepd/run"
	"sweepd/store"
)

// Named are the names that are right now.
func (n NewTyped) Named() Named {
	named := Named{Results: map[string]string{}}
	for list, text := range map[*[]string]*string{&named.Devices: n.Device, &named.Workloads: n.Workload, &named.Settings: n.Setting} {
		if text != nil && *text != unknownWord {
			*list = append(*list, *text)
		}
	}
	if v, err := run.ParseVariantPairs(n.Variant); err == nil {
		named.Variants = []run.Variant{v}
	}
	for _, pair := range n.RenameResult {
		if _, name, ok := strings.Cut(pair, "="); ok {
			named.Results[strings.TrimSpace(name)] = ""
		}
	}
	return named
}

// doubtedInPlaceOf is what is doubted of names that some runs are to have, in the place of
// those that they have: what they alone have is what is put right, and was not seen.
func (n Named) doubtedInPlaceOf(ctx context.Context, s interface {
	Seen
	store.Runs
}, runs []run.Run) ([]NameDoubt, error) {
	w, err := s.Words(ctx)
	doubts := DoubtNames(w, n)
	if err != nil || len(doubts) == 0 {
		return doubts, err
	}
	all, err := s.Runs(ctx, store.Filter{})
	if err != nil {
		return nil, err
	}
	chosen := map[string]bool{}
	for _, r := range runs {
		chosen[r.ID] = true
	}
	others := slices.DeleteFunc(all, func(r run.Run) bool { return chosen[r.ID] })
	alone := func(has func(run.Run) bool) bool {
		return slices.ContainsFunc(runs, has) && !slices.ContainsFunc(others, has)
	}
	without := func(names []string, of func(run.Run) string) []string {
		return slices.DeleteFunc(names, func(name string) bool { return alone(func(r run.Run) bool { return of(r) == name }) })
	}
	w.Devices = without(w.Devices, func(r run.Run) string { return r.Device })
	w.Workloads = without(w.Workloads, func(r run.Run) string { return r.Workload })
	w.Settings = without(w.Settings, func(r run.Run) string { return r.Setting.Name() })
	w.Variants = slices.DeleteFunc(w.Variants, func(v run.Variant) bool { return alone(func(r run.Run) bool { return r.Variant == v }) })
	w.Results = slices.DeleteFunc(w.Results, func(x store.ResultWord) bool {
		return alone(func(r run.Run) bool { _, has := r.Results[x.Name]; return has })
	})
	return DoubtNames(w, n), nil
}

// InTyped puts what was seen in the place of what was typed.
func (d NameDoubt) InTyped(n NewTyped) NewTyped {
	for what, text := range map[string]**string{ofDevice: &n.Device, ofWorkload: &n.Workload, ofSetting: &n.Setting} {
		if d.What == what && *text != nil && **text == d.Typed {
			*text = &d.Near
		}
	}
	n.Variant = slices.Clone(n.Variant)
	for i, pair := range n.Variant {
		if v, err := run.ParseVariantPairs([]string{pair}); err == nil {
			n.Variant[i] = string(d.inVariant(v))
		}
	}
	n.RenameResult = slices.Clone(n.RenameResult)
	for i, pair := range n.RenameResult {
		if old, name, _ := strings.Cut(pair, "="); d.What == ofResult && strings.TrimSpace(name) == d.Typed {
			n.RenameResult[i] = old + "=" + d.Near
		}
	}
	return n
}
