package main

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"
)

// packageOf is a package with as many places as there are statements.
func packageOf(t *testing.T, name string, statements ...string) *goPackage {
	t.Helper()
	s := sourceOf(strings.Join(statements, "\n"))
	s.name = name + "/one.go"
	places, err := s.places()
	if err != nil {
		t.Fatal(err)
	}
	return &goPackage{path: name, places: places}
}

// relationsOf are n different comparisons.
func relationsOf(n int) []string {
	var all []string
	for i := range n {
		all = append(all, fmt.Sprintf("x%d := a%d == b", i, i))
	}
	return all
}

// drawn is what a draw tries, written as package and text.
func drawn(t *testing.T, o options, packages []*goPackage, compiles func(fault) bool) []string {
	t.Helper()
	var all []string
	err := draw(o, packages, func(p *goPackage, x fault) (bool, error) {
		all = append(all, p.path+": "+x.Before+" -> "+x.After)
		return compiles(x), nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return all
}

func always(fault) bool { return true }

func TestDraw(t *testing.T) {
	packages := []*goPackage{packageOf(t, "large", relationsOf(50)...), packageOf(t, "small", relationsOf(3)...)}
	o := options{seed: 1, perPackage: 4, total: 20}
	first := drawn(t, o, packages, always)
	if !slices.Equal(first, drawn(t, o, packages, always)) {
		t.Error("the same seed draws something else")
	}
	if other := drawn(t, options{seed: 2, perPackage: 4, total: 20}, packages, always); slices.Equal(first, other) {
		t.Error("another seed draws the same")
	}
	small := 0
	for _, x := range first {
		if strings.HasPrefix(x, "small") {
			small++
		}
	}
	if len(first) != 20 || small != 3 {
		t.Errorf("%d drawn, %d from the package that has only 3 places; want 20 and 3", len(first), small)
	}
	slices.Sort(first)
	if len(slices.Compact(first)) != 20 {
		t.Error("a place was drawn twice")
	}
}

// For each fault that does not compile another is drawn.
func TestDrawReplacesWhatDoesNotCompile(t *testing.T) {
	p := packageOf(t, "p", relationsOf(30)...)
	counted := 0
	all := drawn(t, options{seed: 3, perPackage: 5}, []*goPackage{p}, func(x fault) bool {
		if strings.Contains(x.Before, "2") {
			return false
		}
		counted++
		return true
	})
	if counted != 5 || len(all) == 5 {
		t.Errorf("%d faults counted of %d drawn, want 5 of more", counted, len(all))
	}
}

// What is written elsewhere in the package does not change the order of what
// stays.
func TestDrawSurvivesChangesElsewhere(t *testing.T) {
	all := relationsOf(30)
	o := options{seed: 4, perPackage: 100}
	whole := drawn(t, o, []*goPackage{packageOf(t, "p", all...)}, always)
	part := drawn(t, o, []*goPackage{packageOf(t, "p", all[10:]...)}, always)
	left := slices.DeleteFunc(whole, func(x string) bool { return !slices.Contains(part, x) })
	if !slices.Equal(left, part) {
		t.Errorf("the order changed:\n%v\n%v", left, part)
	}
}

// Every place is drawn equally often: Pearson's chi-squared test of 2000 draws
// of one place out of 20, at 0.1 %.
func TestDrawIsUniform(t *testing.T) {
	p := packageOf(t, "p", relationsOf(20)...)
	const draws = 2000
	times := map[string]float64{}
	for seed := range uint64(draws) {
		times[drawn(t, options{seed: seed, perPackage: 1}, []*goPackage{p}, always)[0]]++
	}
	expected := float64(draws) / 20
	chi2 := 0.0
	for _, n := range times {
		chi2 += math.Pow(n-expected, 2) / expected
	}
	chi2 += expected * float64(20-len(times))
	if limit := (distuv.ChiSquared{K: 19}).Quantile(0.999); chi2 > limit {
		t.Errorf("chi-squared %.1f of 20 places in %d draws, want at most %.1f: %v", chi2, draws, limit, times)
	}
}
