package main

import (
	"context"
	"path/filepath"
	"slices"
	"testing"
)

// What is left out exists, and says why.
func TestLeftOut(t *testing.T) {
	m, err := openModule(context.Background(), filepath.Join("..", ".."))
	if err != nil {
		t.Fatal(err)
	}
	has := func(list []*goPackage, path string) bool {
		return slices.ContainsFunc(list, func(p *goPackage) bool { return p.path == path })
	}
	all, err := m.choose("")
	if err != nil {
		t.Fatal(err)
	}
	for path, why := range leftOut {
		if why == "" || has(all, path) || !has(m.packages, path) {
			t.Errorf("%s: left out because %q, in the module %v", path, why, has(m.packages, path))
		}
	}
	if len(all)+len(leftOut) != len(m.packages) {
		t.Errorf("%d packages are tried and %d left out, of %d", len(all), len(leftOut), len(m.packages))
	}
	chosen, err := m.choose("run,internal/faults")
	if err != nil || len(chosen) != 2 || chosen[0].path != "run" || chosen[1].path != "internal/faults" {
		t.Errorf("%v, %v", chosen, err)
	}
}
