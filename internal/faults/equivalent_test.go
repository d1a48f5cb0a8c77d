package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

func listed(t *testing.T, text string) ([]equivalent, error) {
	t.Helper()
	root := t.TempDir()
	path := filepath.Join(root, filepath.FromSlash(equivalents))
	if err := os.MkdirAll(filepath.Dir(path), 0o777); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, []byte(text), 0o666); err != nil {
		t.Fatal(err)
	}
	return readEquivalents(root)
}

func TestArgument(t *testing.T) {
	list, err := listed(t, `- file: p/one.go
  function: T.f
  before: "if a > b {"
  after: "if a >= b {"
  why: both are the same then
`)
	if err != nil {
		t.Fatal(err)
	}
	x := fault{File: "p/one.go", Line: 99, Function: "T.f", Operator: "relational", Before: "if a > b {", After: "if a >= b {", Nth: 2}
	if got := argument(list, x); got != "both are the same then" {
		t.Errorf("the argument is %q", got)
	}
	for what, change := range map[string]func(*fault){
		"file":     func(x *fault) { x.File = "p/two.go" },
		"function": func(x *fault) { x.Function = "f" },
		"before":   func(x *fault) { x.Before = "if a > c {" },
		"after":    func(x *fault) { x.After = "if a < b {" },
	} {
		other := x
		change(&other)
		if got := argument(list, other); got != "" {
			t.Errorf("another %s has the argument %q, want none", what, got)
		}
	}
}

func TestListThatCannotBeRead(t *testing.T) {
	for text, want := range map[string]string{
		"- file: a\n  before: b\n  after: c\n": "has no argument",
		"- file: a\n  because: c\n":            "because",
	} {
		if _, err := listed(t, text); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: error %v, want one with %q", text, err, want)
		}
	}
	if list, err := readEquivalents(t.TempDir()); err != nil || list != nil {
		t.Errorf("without a list: %v, %v", list, err)
	}
}

// Every fault on the project's own list can still be planted.
func TestListIsAboutTheCode(t *testing.T) {
	root := filepath.Join("..", "..")
	list, err := readEquivalents(root)
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range list {
		dir, name := filepath.Split(filepath.FromSlash(e.File))
		p := &goPackage{Dir: filepath.Join(root, dir), path: filepath.ToSlash(filepath.Clean(dir)), GoFiles: []string{name}}
		if err := p.findPlaces(); err != nil {
			t.Errorf("%s: %v; where did it move?", e.File, err)
			continue
		}
		found := false
		for _, at := range p.places {
			for n := range at.changes {
				found = found || argument([]equivalent{e}, at.fault(n)) != ""
			}
		}
		if !found {
			t.Errorf("%s, %s: no operator turns %q into %q any more: take it off the list or correct it", e.File, e.Function, e.Before, e.After)
		}
	}
}
