package analysis

import (
	"math"
	"slices"
)

// collectNotes says what a reader must know of the numbers of one comparison.
func (c *comparisonBuilder) collectNotes(p pair, nameA, nameB string) []Note {
	for _, s := range []struct {
		*side
		name string
	}{{&c.a, nameA}, {&c.b, nameB}} {
		c.note(leftOutNotes(s.name, s.left, c.metric.name, c.wattsNeeded()...)...)
		if len(s.samples) > 0 {
			c.note(noiseNotes(s.name, s.noise)...)
		}
		if c.req.At == AtSetting {
			c.note(disobeyedNotes(s.side, s.name)...)
		}
	}
	if len(c.sharedContrasts()) == 0 {
		c.note(Note{Code: NoteNothingShared})
	}
	c.note(countNote(NoteKeptInterrupted, "", countRuns(c.a.runs, c.a.usedRuns(), keptInterrupted)+countRuns(c.b.runs, c.b.usedRuns(), keptInterrupted))...)
	c.note(unlikeRepeatsNotes(c.a.noise, c.b.noise)...)
	if len(c.blocks) > 0 {
		c.note(Note{Code: NoteShiftsTakenOut, Count: len(c.blocks), Ratio: spread(c.blocks)})
	}
	if c.named() {
		c.note(Note{Code: NoteComparedByName})
	}
	c.noteGauges(p)
	c.noteWeakSpots(p)
	return c.notes
}

// wattsNeeded are the kinds of watts that runs must have to be used.
func (c *comparisonBuilder) wattsNeeded() []string {
	var kinds []string
	if c.req.Per != "" {
		kinds = append(kinds, c.req.Per)
	}
	if c.req.At != AtSetting && c.req.At != c.req.Per {
		kinds = append(kinds, c.req.At)
	}
	return kinds
}

// notableGauge is the relative uncertainty of a side's power that is worth a note.
const notableGauge = 0.002

// noteGauges says what the bounds of results per system watt, and at equal system
// watts, leave out between devices: what makes each battery's gauge err alike in
// all its runs.
func (c *comparisonBuilder) noteGauges(p pair) {
	if p.a.Device == p.b.Device || c.req.Per != AtSystem && c.req.At != AtSystem {
		return
	}
	sum, n := 0.0, 0
	for _, s := range []*side{&c.a, &c.b} {
		for _, i := range s.usedRuns() {
			if u := s.runs[i].SystemUncertainty(); finite(u) {
				sum += u * u
				n++
			}
		}
	}
	if u := math.Sqrt(sum / float64(max(n, 1))); u > notableGauge {
		c.note(Note{Code: NoteGaugesLeftOut, Ratio: Number(u)})
	}
}

// noteWeakSpots says where simulations find more false verdicts than the
// confidence promises: columns slow, noise and drift2 of TestStudyCompare.
func (c *comparisonBuilder) noteWeakSpots(p pair) {
	most, single := 0, false
	for _, k := range c.sharedContrasts() {
		most = max(most, k.nA, k.nB)
		single = single || min(k.nA, k.nB) == 1
	}
	if most == 0 {
		return
	}
	if p.a.Device != p.b.Device && passes(c.a.runs, slices.Concat(c.a.samples, c.b.samples)) == 0 {
		c.note(Note{Code: NoteDaysLeftOut})
	}
	if most <= 2 {
		c.note(Note{Code: NoteUnevenNoiseUnseen})
	}
	if most == 2 {
		c.note(Note{Code: NoteSlowRunUnseen})
	}
	if single && len(c.sharedContrasts()) > 1 {
		c.note(Note{Code: NoteSingleRunSupported})
	}
}

// noteAligned says what aligning the sides left out and assumed.
func (c *comparisonBuilder) noteAligned(a, b []node, places []float64) {
	c.note(Note{Code: NoteEqualWatts, Watts: []string{c.req.At}})
	if len(places) == 0 {
		c.note(Note{Code: NoteNoCommonWatts, Watts: []string{c.req.At}})
		return
	}
	outside := 0
	for _, n := range slices.Concat(a, b) {
		if n.p < places[0]-math.Log1p(nodeTolerance) || n.p > places[len(places)-1]+math.Log1p(nodeTolerance) {
			outside++
		}
	}
	if outside > 0 {
		c.note(Note{Code: NoteOutsideCommonWatts, FromW: expNumber(places[0]), ToW: expNumber(places[len(places)-1]), Count: outside})
	}
	if min(len(a), len(b)) < 3 {
		c.note(Note{Code: NoteStraightLine})
	}
}
