package main

import (
	"context"
	"os"
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

// The digest of a package's tests follows what they read beside them, so that
// faults which survived are tried again; a package without such files has one too.
func TestDigestOfTests(t *testing.T) {
	p := &goPackage{Dir: t.TempDir(), TestGoFiles: []string{"one_test.go"}}
	write := func(name, text string) {
		t.Helper()
		path := filepath.Join(p.Dir, name)
		if err := os.MkdirAll(filepath.Dir(path), 0o777); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, []byte(text), 0o666); err != nil {
			t.Fatal(err)
		}
	}
	seen := map[string]string{}
	changed := func(by string) {
		t.Helper()
		got, err := p.tests()
		if before, same := seen[got]; err != nil || same {
			t.Errorf("%s: digest %q as after %q, error %v", by, got, before, err)
		}
		seen[got] = by
	}
	write("one_test.go", "package one")
	changed("a test")
	write("testdata/sub/a.json", "{}")
	changed("a file that it reads")
	write("testdata/sub/a.json", "[]")
	changed("another text in that file")
	write("testdata/b.json", "[]")
	changed("a second file")
}

// What cannot be read has no digest: records of other tests would count for it.
func TestDigestOfTestsThatCannotBeRead(t *testing.T) {
	for name, p := range map[string]*goPackage{
		"a test is missing":      {Dir: t.TempDir(), TestGoFiles: []string{"one_test.go"}},
		"no path may hold a NUL": {Dir: "one\x00"},
	} {
		if got, err := p.tests(); err == nil {
			t.Errorf("%s: digest %q and no error", name, got)
		}
	}
}
