package main

import (
	"go/parser"
	"go/token"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// sourceOf is a file with one function that holds the statements.
func sourceOf(statements string) *source {
	return &source{
		path: "one.go", name: "p/one.go", fset: token.NewFileSet(),
		text: []byte("package p\n\nfunc (t *T) f() (int, error) {\n" + statements + "\n}\n"),
	}
}

// The operators' definitions are those of Offutt et al. 1996 where they have
// them (ROR, LCR, AOR, UOI, ABS), and of the comment beside each operator.
func TestOperators(t *testing.T) {
	for _, c := range []struct {
		operator, statements string
		want                 []string // the lines after each change
	}{
		{"relational", "x = a < b", []string{"x = a <= b", "x = a > b", "x = a >= b", "x = a == b", "x = a != b"}},
		{"relational", "x = a >= b", []string{"x = a > b", "x = a < b", "x = a <= b", "x = a == b", "x = a != b"}},
		{"relational", "x = a == nil", []string{"x = a != nil"}},
		{"relational", "x = len(a) > 0", []string{"x = len(a) >= 0", "x = len(a) < 0", "x = len(a) <= 0", "x = len(a) == 0"}},
		{"relational", "x = a + b", nil},
		{"logical", "x = a && b || c", []string{"x = a && b && c", "x = a || b || c"}},
		{"arithmetic", "x = a - b", []string{"x = a + b", "x = a * b"}},
		{"arithmetic", "x /= 2", []string{"x *= 2", "x = 2"}},
		{"arithmetic", "x = a << 3", []string{"x = a >> 3"}},
		{"arithmetic", `x = "a" + b + c`, nil},
		{"unary", "x = -a", []string{"x = a"}},
		{"unary", "if !a {\n}", []string{"if a {"}},
		{"unary", "x = &a", nil},
		{"unary", "i++", []string{"i--"}},
		{"unary", "x = a*b + c", []string{"x = -(a*b + c)"}},
		{"absolute", "x = math.Abs(a - b)", []string{"x = (a - b)", "x = -math.Abs(a - b)"}},
		{"absolute", "x = max(a, b)", []string{"x = min(a, b)"}},
		{"absolute", "x = math.Sqrt(a)", nil},
		{"constant", "x = 1", []string{"x = (1 + 1)", "x = (1 - 1)", "x = (1 * 10)"}},
		{"constant", "x = 0", []string{"x = (0 + 1)", "x = (0 - 1)"}},
		{"constant", "x = 0.05", []string{"x = (0.05 + 1)", "x = (0.05 - 1)", "x = (0.05 * 10)", "x = 0"}},
		{"constant", "x = true", []string{"x = false"}},
		{"constant", `x = "7"`, nil},
		{"constant", "return 0, err", nil},
		{"constant", "return 7, nil", []string{"return (7 + 1), nil", "return (7 - 1), nil", "return (7 * 10), nil", "return 0, nil"}},
		{"bound", "x = a[i]", []string{"x = a[i+1]", "x = a[i-1]"}},
		{"bound", "x = a[:n]", []string{"x = a[:n+1]", "x = a[:n-1]"}},
		{"bound", "x = a[0]", nil},
		{"condition", "if a || b {\n}", []string{"if !(a || b) {"}},
		{"condition", "for i < n {\n}", []string{"for !(i < n) {"}},
		{"condition", "for {\n}", nil},
		{"statement", "x = 1", []string{"(nothing)"}},
		{"statement", "x := 1", nil},
		{"statement", "a.Close()", []string{"(nothing)"}},
		{"statement", "switch {\ncase a:\nf()\n}", []string{"(nothing)", "(nothing)", "(nothing)"}},
		{"statement", "if a { b() } else if c { d() }", []string{"(nothing)", "if a { } else if c { d() }", "if a { b() } else if c { }"}},
		{"statement", "if a {\nreturn 0, nil\n}\nreturn 1, nil", []string{"(nothing)", "(nothing)"}},
		{"statement", "mu.Lock()\ndefer mu.Unlock()", nil},
		{"arguments", "f(a, b, c)", []string{"f(b, a, c)", "f(a, c, b)"}},
		{"arguments", "f(a, a)", nil},
		{"arguments", "x = max(a, b)", nil},
		{"arguments", "f(a, b...)", nil},
		{"lock", "t.mu.Lock()\nx++\nt.mu.Unlock()\no.Lock()", []string{"(nothing) … (nothing)", "(nothing)"}},
		{"lock", "mu.RLock()\ndefer mu.RUnlock()", []string{"(nothing) … (nothing)"}},
		{"lock", "b.Lock(3)", nil},
		{"error", "return 0, err", []string{"return 0, nil"}},
		{"error", "return 0, nil", nil},
		{"error", "return g()", nil},
		{"error", "h := func() bool { return a }", nil},
	} {
		s := sourceOf(c.statements)
		places, err := s.places()
		if err != nil {
			t.Fatalf("%s: %v", c.statements, err)
		}
		var got []string
		for _, p := range places {
			if p.operator != c.operator {
				continue
			}
			for n := range p.changes {
				x := p.fault(n)
				if x.Function != "T.f" || x.File != "p/one.go" {
					t.Errorf("%s: a fault in %s of %s, want T.f of p/one.go", c.statements, x.Function, x.File)
				}
				got = append(got, x.After)
			}
		}
		if diff := cmp.Diff(c.want, got); diff != "" {
			t.Errorf("%s in %q (-want +got):\n%s", c.operator, c.statements, diff)
		}
	}
}

// A fault stands in a line of its own file; where the same line comes twice in
// a function, the two are told apart.
func TestPlacesAreToldApart(t *testing.T) {
	places, err := sourceOf("x = a < b\n\nx = a < b").places()
	if err != nil {
		t.Fatal(err)
	}
	places = slices.DeleteFunc(places, func(p *place) bool { return p.operator != "relational" })
	if len(places) != 2 {
		t.Fatalf("%d places, want 2", len(places))
	}
	one, two := places[0].fault(0), places[1].fault(0)
	if one.Line != 4 || two.Line != 6 {
		t.Errorf("lines %d and %d, want 4 and 6", one.Line, two.Line)
	}
	if one.same(two) || !one.same(one) {
		t.Errorf("two places in one function count as the same: %+v, %+v", one, two)
	}
	if got, want := string(two.changed()), "x = a < b\n\nx = a <= b\n}\n"; !strings.HasSuffix(got, want) {
		t.Errorf("the second fault is planted as %q, want it to end in %q", got, want)
	}
}

func TestGeneratedCodeHasNoPlaces(t *testing.T) {
	s := sourceOf("x = 1")
	s.text = append([]byte("// Code generated by hand. DO NOT EDIT.\n\n"), s.text...)
	places, err := s.places()
	if err != nil || len(places) > 0 {
		t.Errorf("%d places in a generated file (%v), want none", len(places), err)
	}
}

// Whatever is planted is a file of Go in which something is different.
func TestEveryFaultParses(t *testing.T) {
	files, err := filepath.Glob("*.go")
	if err != nil || len(files) < 10 {
		t.Fatalf("%d files here (%v), want this package's", len(files), err)
	}
	faults := 0
	for _, path := range files {
		text, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		s := &source{path: path, name: path, text: text, fset: token.NewFileSet()}
		places, err := s.places()
		if err != nil {
			t.Fatal(err)
		}
		for _, p := range places {
			for n := range p.changes {
				faults++
				x := p.fault(n)
				changed := x.changed()
				if string(changed) == string(text) {
					t.Errorf("%s:%d: %s changes nothing in %q", path, x.Line, x.Operator, x.Before)
				}
				if _, err := parser.ParseFile(token.NewFileSet(), path, changed, parser.SkipObjectResolution); err != nil {
					t.Errorf("%s:%d: %s: %q -> %q does not parse: %v", path, x.Line, x.Operator, x.Before, x.After, err)
				}
			}
		}
	}
	if faults < 1000 {
		t.Errorf("only %d faults in this package", faults)
	}
}

func TestLongTextsAreCut(t *testing.T) {
	places, err := sourceOf("f(\"" + strings.Repeat("é", 300) + "\")").places()
	if err != nil || len(places) == 0 {
		t.Fatalf("%d places: %v", len(places), err)
	}
	if got := []rune(places[0].fault(0).Before); len(got) != longestText+1 || got[longestText] != '…' {
		t.Errorf("%d characters shown, want %d and an ellipsis", len(got), longestText)
	}
}
