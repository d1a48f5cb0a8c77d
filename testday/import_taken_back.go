package testday

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"slices"
	"strconv"

	"sweepd/run"
	"sweepd/store"
)

// ListImports lists imports and merges.
var ListImports = &Operation[struct{}, []store.Import]{
	About{Method: "GET", Path: "/imports", Summary: "Lists the imports and merges that brought runs, the oldest first."},
	func(ctx context.Context, d *Day, _ struct{}) ([]store.Import, error) { return d.Store.Imports(ctx) },
}

// TakeBackRequest says which import or merge is taken back, or had back.
type TakeBackRequest struct {
	// Import is its number, or its file as it was named or the last part of that; "" is
	// the last one that can be.
	Import string `json:"import"`
	Again  bool   `json:"again"` // its runs are to be there again
}

// TakeImportBack hides the runs of an import, or has them back.
var TakeImportBack = &Operation[TakeBackRequest, store.Import]{
	About{Method: "POST", Path: "/imports/undo", Summary: "Takes an import or merge back: its runs are hidden, and come back when it is had again.", Needs: NeedsRight, Opens: OpensToWrite},
	func(ctx context.Context, d *Day, q TakeBackRequest) (x store.Import, err error) {
		imports, err := d.Store.Imports(ctx)
		if err != nil {
			return x, err
		}
		if x, err = importNamed(imports, q); err != nil {
			return x, err
		}
		err = markAround(ctx, d.Store, d.Thresholds, d.Now, func() error { return d.Store.TakeBack(ctx, x.ID, !q.Again, d.Now) })
		if err != nil {
			return x, err
		}
		x.TakenAt = run.Timestamp{}
		if !q.Again {
			x.TakenAt = run.Stamp(d.Now)
		}
		return x, nil
	},
}

// importNamed is the import that is meant: of several the last that can be taken back, or
// the one that was taken back last.
func importNamed(list []store.Import, q TakeBackRequest) (x store.Import, err error) {
	named := func(x store.Import) bool {
		return q.Import == "" || strconv.FormatInt(x.ID, 10) == q.Import || x.Source == q.Import || x.Source != "" && filepath.Base(x.Source) == q.Import
	}
	all := slices.DeleteFunc(slices.Clone(list), func(x store.Import) bool { return !named(x) })
	can := slices.DeleteFunc(slices.Clone(all), func(x store.Import) bool { return x.TakenAt.IsZero() == q.Again })
	did := "taken back already"
	if q.Again {
		did = "there, and not taken back"
	}
	switch {
	case len(can) > 0 && q.Again:
		return slices.MaxFunc(can, func(a, b store.Import) int { return cmp.Or(a.TakenAt.Compare(b.TakenAt.Time), cmp.Compare(a.ID, b.ID)) }), nil
	case len(can) > 0:
		return can[len(can)-1], nil
	case len(all) > 0 && q.Import != "":
		return x, fmt.Errorf("import %s is %s: `sweepd import --list` lists all", q.Import, did)
	case q.Import != "":
		return x, fmt.Errorf("import %q: %w", run.Shorten(q.Import), store.ErrNoImport)
	case q.Again:
		return x, errors.New("no import was taken back: `sweepd import --list` lists all")
	}
	return x, errors.New("no import is left to be taken back: `sweepd import --list` lists all")
}
