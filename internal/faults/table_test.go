package main

import (
	"bytes"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

func outcomes(pkg string, n int, outcome, why string) []record {
	var all []record
	for range n {
		all = append(all, record{Package: pkg, fault: fault{File: pkg + "/one.go", Line: 7, Function: "f", Operator: "error", Before: "return err", After: "return nil"}, Outcome: outcome, why: why})
	}
	return all
}

func together(parts ...[]record) []record {
	var all []record
	for _, p := range parts {
		all = append(all, p...)
	}
	return all
}

func TestTable(t *testing.T) {
	tried := together(outcomes("b", 7, caught, ""), outcomes("a", 1, survived, ""), outcomes("a", 2, notCompiled, ""),
		outcomes("b", 1, timedOut, ""), outcomes("a", 1, survived, "nothing reads it"))
	var got bytes.Buffer
	writeTable(&got, tried)
	writeSurvivors(&got, tried)
	want := `package  tried  caught  timed out  survived  equivalent  noticed  not compiled
b        8      7       1          0         0           100.0 %  0
a        2      0       0          1         1           0.0 %    2
all      10     7       1          1         1           88.9 %   2

survived:
a/one.go:7: return err -> return nil  (error, f)

equivalent:
a/one.go:7: return err -> return nil
    nothing reads it
`
	if diff := cmp.Diff(want, got.String()); diff != "" {
		t.Errorf("-want +got:\n%s", diff)
	}
}

// Where no fault can be noticed none went unnoticed: a package of which all faults
// are equivalent does not look worse than another, and its row has a number.
func TestShare(t *testing.T) {
	for _, c := range []struct {
		name string
		of   []record
		want float64
	}{
		{"no faults", nil, 1},
		{"none compiled", outcomes("a", 2, notCompiled, ""), 1},
		{"all equivalent", outcomes("a", 3, survived, "so"), 1},
		{"none noticed", outcomes("a", 3, survived, ""), 0},
		{"one of two, and an equivalent one", together(outcomes("a", 1, caught, ""), outcomes("a", 1, survived, ""), outcomes("a", 1, survived, "so")), 0.5},
	} {
		if got := count(c.of).share(); got != c.want {
			t.Errorf("%s: share %v, want %v", c.name, got, c.want)
		}
	}
}

func TestConclusion(t *testing.T) {
	for _, c := range []struct {
		name  string
		tried []record
		want  string // in the error, "" for none
	}{
		{"nine of ten", together(outcomes("a", 9, caught, ""), outcomes("a", 1, survived, "")), ""},
		{"eight of nine", together(outcomes("a", 8, caught, ""), outcomes("a", 1, survived, "")), "88.9 % of the faults were noticed"},
		{"what runs out of time is noticed", outcomes("a", 10, timedOut, ""), ""},
		{"five equivalent", together(outcomes("a", 10, caught, ""), outcomes("a", 5, survived, "so")), ""},
		{"six equivalent", together(outcomes("a", 10, caught, ""), outcomes("a", 6, survived, "so")), "6 faults of 16 are called equivalent, at most 5"},
		{"nothing", outcomes("a", 3, notCompiled, ""), "no fault compiled"},
	} {
		err := conclude(&bytes.Buffer{}, options{seed: 9}, c.tried)
		if c.want == "" && err != nil || c.want != "" && (err == nil || !strings.Contains(err.Error(), c.want) || !strings.Contains(err.Error(), "seed 9")) {
			t.Errorf("%s: error %v, want %q", c.name, err, c.want)
		}
	}
}
