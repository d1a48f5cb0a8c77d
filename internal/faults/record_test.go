package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

func TestRecordsThatStillHold(t *testing.T) {
	path := filepath.Join(t.TempDir(), "sub", "faults.jsonl")
	l, err := openLog(path)
	if err != nil {
		t.Fatal(err)
	}
	one := fault{File: "p/one.go", Line: 4, Operator: "relational", Before: "a < b", After: "a > b", Nth: 1}
	two := one
	two.Nth = 2
	for _, r := range []record{
		{Package: "p", fault: one, Outcome: caught, By: "TestA", Code: "c1", Tests: "t1"},
		{Package: "p", fault: two, Outcome: survived, Code: "c1", Tests: "t1"},
	} {
		if err := l.add(r); err != nil {
			t.Fatal(err)
		}
	}
	if err := l.Close(); err != nil {
		t.Fatal(err)
	}
	if l, err = openLog(path); err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	moved := one
	moved.Line = 40
	for _, c := range []struct {
		of          fault
		code, tests string
		want        string
	}{
		{one, "c1", "t1", caught},
		{moved, "c1", "t1", caught},
		{one, "c1", "t2", caught}, // a new test does not let go what an old one noticed
		{one, "c2", "t1", ""},
		{two, "c1", "t1", survived},
		{two, "c1", "t2", ""}, // a new test may notice it
	} {
		r, found := l.find(c.of, c.code, c.tests)
		if r.Outcome != c.want || found != (c.want != "") {
			t.Errorf("fault %d of line %d with code %s and tests %s: %q, want %q", c.of.Nth, c.of.Line, c.code, c.tests, r.Outcome, c.want)
		}
	}
}

func TestDamagedRecords(t *testing.T) {
	path := filepath.Join(t.TempDir(), "faults.jsonl")
	if err := os.WriteFile(path, []byte("{}\n{\n"), 0o666); err != nil {
		t.Fatal(err)
	}
	if _, err := openLog(path); err == nil || !strings.Contains(err.Error(), "line 2") {
		t.Errorf("error %v, want one that names line 2", err)
	}
}

func TestDigests(t *testing.T) {
	dir := t.TempDir()
	write := func(name, text string) {
		t.Helper()
		if err := os.MkdirAll(filepath.Dir(filepath.Join(dir, name)), 0o777); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o666); err != nil {
			t.Fatal(err)
		}
	}
	p := &goPackage{Dir: dir, GoFiles: []string{"a.go"}, EmbedFiles: []string{"page.html"}, TestGoFiles: []string{"a_test.go"}}
	write("a.go", "package a")
	write("page.html", "<p>")
	write("a_test.go", "package a")
	both := func() (string, string) {
		t.Helper()
		code, err := p.code()
		if err != nil {
			t.Fatal(err)
		}
		tests, err := p.tests()
		if err != nil {
			t.Fatal(err)
		}
		return code, tests
	}
	code, tests := both()
	for _, c := range []struct {
		file        string
		code, tests bool // that change
	}{
		{"a.go", true, false},
		{"page.html", true, false},
		{"a_test.go", false, true},
		{"testdata/golden.txt", false, true},
		{"notes.txt", false, false},
	} {
		write(c.file, "other")
		newCode, newTests := both()
		if (newCode != code) != c.code || (newTests != tests) != c.tests {
			t.Errorf("%s changes: the code's digest changes %v, want %v; that of the tests %v, want %v",
				c.file, newCode != code, c.code, newTests != tests, c.tests)
		}
		code, tests = newCode, newTests
	}
}
