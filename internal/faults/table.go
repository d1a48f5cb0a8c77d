package main

import (
	"fmt"
	"io"
	"slices"
	"strings"
	"text/tabwriter"
)

// counts is what became of a number of faults.
type counts struct {
	tried, caught, timedOut, survived, equivalent, notCompiled int
}

func count(records []record) counts {
	var c counts
	for _, r := range records {
		if !r.counts() {
			c.notCompiled++
			continue
		}
		c.tried++
		switch {
		case r.Outcome == caught:
			c.caught++
		case r.Outcome == timedOut:
			c.timedOut++
		case r.why != "":
			c.equivalent++
		default:
			c.survived++
		}
	}
	return c
}

// share is the part of the faults that was noticed, of those that can be; 1 if
// there were none.
func (c counts) share() float64 {
	if c.tried == c.equivalent {
		return 1
	}
	return float64(c.caught+c.timedOut) / float64(c.tried-c.equivalent)
}

// writeTable writes a row for each package, in the order they were tried first,
// and one for all.
func writeTable(w io.Writer, tried []record) {
	tab := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintln(tab, "package\ttried\tcaught\ttimed out\tsurvived\tequivalent\tnoticed\tnot compiled")
	row := func(name string, records []record) {
		c := count(records)
		fmt.Fprintf(tab, "%s\t%d\t%d\t%d\t%d\t%d\t%.1f %%\t%d\n", name, c.tried, c.caught, c.timedOut, c.survived, c.equivalent, 100*c.share(), c.notCompiled)
	}
	var names []string
	of := map[string][]record{}
	for _, r := range tried {
		if !slices.Contains(names, r.Package) {
			names = append(names, r.Package)
		}
		of[r.Package] = append(of[r.Package], r)
	}
	for _, name := range names {
		row(name, of[name])
	}
	row("all", tried)
	tab.Flush()
}

// writeSurvivors lists the faults that no test noticed, those that none can
// last.
func writeSurvivors(w io.Writer, tried []record) {
	var open, closed strings.Builder
	for _, r := range tried {
		if r.Outcome != survived {
			continue
		}
		if r.why == "" {
			fmt.Fprintf(&open, "%s:%d: %s -> %s  (%s, %s)\n", r.File, r.Line, r.Before, r.After, r.Operator, r.Function)
		} else {
			fmt.Fprintf(&closed, "%s:%d: %s -> %s\n    %s\n", r.File, r.Line, r.Before, r.After, r.why)
		}
	}
	if open.Len() > 0 {
		fmt.Fprintf(w, "\nsurvived:\n%s", open.String())
	}
	if closed.Len() > 0 {
		fmt.Fprintf(w, "\nequivalent:\n%s", closed.String())
	}
}

// writePlaces writes how many places each package has, by operator.
func writePlaces(w io.Writer, packages []*goPackage) {
	tab := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprint(tab, "package\tall")
	for _, o := range operators {
		fmt.Fprintf(tab, "\t%s", o.name)
	}
	fmt.Fprintln(tab)
	for _, p := range packages {
		fmt.Fprintf(tab, "%s\t%d", p.path, len(p.places))
		for _, o := range operators {
			n := 0
			for _, at := range p.places {
				if at.operator == o.name {
					n++
				}
			}
			fmt.Fprintf(tab, "\t%d", n)
		}
		fmt.Fprintln(tab)
	}
	tab.Flush()
}
