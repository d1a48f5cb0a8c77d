package main

import (
	"bytes"
	"cmp"
	"crypto/sha256"
	"encoding/binary"
	"fmt"
	"slices"
)

// ticket is a place with its random number: the places in the order of their
// numbers are a random permutation.
type ticket struct {
	owner  *goPackage
	place  *place
	number [sha256.Size]byte
}

// tickets gives each place of a package its number, lowest first. The number
// comes from the seed and what the place says, so that a change elsewhere does
// not draw anew.
func tickets(seed uint64, p *goPackage) []ticket {
	var all []ticket
	for _, at := range p.places {
		number := sha256.Sum256(fmt.Appendf(nil, "%d\n%s\n%s\n%s\n%s\n%d", seed, at.file.name, at.function, at.operator, at.before(), at.nth))
		all = append(all, ticket{owner: p, place: at, number: number})
	}
	slices.SortFunc(all, byNumber)
	return all
}

func byNumber(a, b ticket) int {
	return cmp.Or(bytes.Compare(a.number[:], b.number[:]), cmp.Compare(a.place.line, b.place.line))
}

// fault is the place's fault, one of its ways by the same number.
func (t ticket) fault() fault {
	n := binary.BigEndian.Uint64(t.number[8:]) % uint64(len(t.place.changes))
	return t.place.fault(int(n))
}

// draw tries faults until each package has had its share, and then from all
// packages together until the total is reached. A fault for which try says
// false does not count.
func draw(o options, packages []*goPackage, try func(*goPackage, fault) (bool, error)) error {
	var rest []ticket
	total := 0
	for _, p := range packages {
		left := tickets(o.seed, p)
		for had := 0; had < o.perPackage && len(left) > 0; left = left[1:] {
			counts, err := try(p, left[0].fault())
			if err != nil {
				return err
			}
			if counts {
				had++
				total++
			}
		}
		rest = append(rest, left...)
	}
	slices.SortFunc(rest, byNumber)
	for ; total < o.total && len(rest) > 0; rest = rest[1:] {
		counts, err := try(rest[0].owner, rest[0].fault())
		if err != nil {
			return err
		}
		if counts {
			total++
		}
	}
	return nil
}
