package testday

import (
	"fmt"

	"sweepd/run"
	"sweepd/store"
)

// Of a table so many labels are looked at, and of so many it is warned.
const (
	mostLabels   = 2000
	mostWarnings = 20
)

// tableLabels are the labels of a table's rows, each of which is looked at once: held
// against those that were seen and those of the rows above it.
type tableLabels struct {
	words    store.Words
	cells    map[run.Cell]bool
	results  map[store.ResultWord]bool
	warnings []string
}

// check looks at the labels of a row.
func (t *tableLabels) check(line int, r *run.Record) {
	if t.cells == nil {
		t.cells, t.results = map[run.Cell]bool{}, map[store.ResultWord]bool{}
	}
	var n Named
	cell := run.Cell{Device: r.Device, Workload: r.Workload, Setting: run.Named(r.Setting.Name()), Variant: r.Variant}
	isNew := !t.cells[cell]
	if isNew {
		t.cells[cell] = true
		n.Devices, n.Workloads = []string{cell.Device}, []string{cell.Workload}
		n.Settings, n.Variants = []string{cell.Setting.Name()}, []run.Variant{cell.Variant}
	}
	for name, x := range r.Results {
		if word := (store.ResultWord{Name: name, Unit: x.Unit}); !t.results[word] {
			t.results[word] = true
			if n.Results == nil {
				n.Results = map[string]string{}
			}
			n.Results[name] = x.Unit
		}
	}
	if !isNew && len(n.Results) == 0 || len(t.cells) > mostLabels {
		return
	}
	for _, d := range DoubtNames(t.words, n) {
		if len(t.warnings) < mostWarnings {
			t.warnings = append(t.warnings, fmt.Sprintf("line %d: %s", line, d))
		}
	}
	t.words.Devices, t.words.Workloads = append(t.words.Devices, n.Devices...), append(t.words.Workloads, n.Workloads...)
	t.words.Settings, t.words.Variants = append(t.words.Settings, n.Settings...), append(t.words.Variants, n.Variants...)
	for name, unit := range n.Results {
		t.words.Results = append(t.words.Results, store.ResultWord{Name: name, Unit: unit})
	}
}
