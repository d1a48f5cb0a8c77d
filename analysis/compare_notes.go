package analysis

import (
	"fmt"
	"math"
	"slices"
)

// allNotes says what a reader must know of the numbers of one comparison.
func (c *contest) allNotes(p pair, nameA, nameB string) []string {
	for _, s := range []struct {
		*side
		name string
	}{{&c.a, nameA}, {&c.b, nameB}} {
		for _, text := range leftOutNotes(s.left, c.quantityName()) {
			c.note(s.name + ": " + text)
		}
		if len(s.cells) > 0 {
			for _, text := range noiseNotes(s.noise) {
				c.note(s.name + ": " + text)
			}
		}
		if c.req.At == AtSetting {
			for _, text := range disobeyedNotes(s.side, s.name) {
				c.note(text)
			}
		}
	}
	if len(c.sharedContrasts()) == 0 {
		c.note("the sides share no setting: nothing can be compared")
	}
	if n := len(c.a.noise.Flagged) + len(c.b.noise.Flagged); n > 0 {
		c.note(fmt.Sprintf("runs that differ from their repeats: %d; they stay in all numbers until you reject them", n))
	}
	if len(c.blocks) > 0 {
		c.note(fmt.Sprintf("run in %d passes, whose common shifts were taken out: %s between the lowest and the highest",
			len(c.blocks), percent(slices.Max(c.blocks)-slices.Min(c.blocks))))
	}
	if c.named() {
		c.note("settings without watts: no crossings, and bands have names")
	}
	c.noteGauges(p)
	c.noteWeakSpots(p)
	return c.notes
}

// quantityName names what the runs must have to be used.
func (c *contest) quantityName() string {
	name := c.metric.name
	kinds := []string{c.req.Per}
	if c.req.At != AtSetting {
		kinds = append(kinds, c.req.At)
	}
	for _, kind := range slices.Compact(kinds) {
		if kind != "" {
			name += " and " + kind + " watts"
		}
	}
	return name
}

// tellGauge is the relative uncertainty of a side's power that is worth a note.
const tellGauge = 0.002

// noteGauges says what the bounds of results per system watt, and at equal system
// watts, leave out between devices: what makes each battery's gauge err alike in
// all its runs.
func (c *contest) noteGauges(p pair) {
	if p.a.Device == p.b.Device || c.req.Per != AtSystem && c.req.At != AtSystem {
		return
	}
	sum, n := 0.0, 0
	for _, s := range []*side{&c.a, &c.b} {
		for _, i := range s.used() {
			if u := s.runs[i].SystemU; finite(u) {
				sum += u * u
				n++
			}
		}
	}
	if u := math.Sqrt(sum / float64(max(n, 1))); u > tellGauge {
		c.note(fmt.Sprintf("system watts are those of the batteries' gauges: what a gauge gets wrong in all its runs alike, about %.2g %% for each device, is not in the bounds", 100*u))
	}
}

// noteWeakSpots says where simulations find more false verdicts than the
// confidence promises: columns slow, noise and drift2 of TestStudyCompare.
func (c *contest) noteWeakSpots(p pair) {
	most, single := 0, false
	for _, k := range c.sharedContrasts() {
		most = max(most, k.nA, k.nB)
		single = single || min(k.nA, k.nB) == 1
	}
	if most == 0 {
		return
	}
	if p.a.Device != p.b.Device && passes(c.a.runs, slices.Concat(c.a.cells, c.b.cells)) == 0 {
		c.note("two devices drift each on its own day, which no method can take out and the bounds do not include: only interleaving their runs helps")
	}
	if most <= 2 {
		c.note("with at most two runs per setting, noise that changes strongly with the setting is not noticed: bounds may be too narrow where it is largest")
	}
	if most == 2 {
		c.note("with two runs per setting a slow run cannot be told from its repeat: about one comparison in ten then names a false winner where slow runs occur; three runs help")
	}
	if single && len(c.sharedContrasts()) > 1 {
		c.note("a setting with a single run on a side is won only if a neighbouring setting supports it")
	}
}

// noteAligned says what aligning the sides left out and assumed.
func (c *contest) noteAligned(a, b []node, places []float64) {
	c.note(fmt.Sprintf("compared at equal measured %s watts: between measured points the curves are interpolated, and the bounds include that", c.req.At))
	if len(places) == 0 {
		c.note(fmt.Sprintf("the sides were not measured in a common range of %s watts", c.req.At))
		return
	}
	outside := 0
	for _, n := range slices.Concat(a, b) {
		if n.p < places[0]-math.Log1p(nodeTolerance) || n.p > places[len(places)-1]+math.Log1p(nodeTolerance) {
			outside++
		}
	}
	if outside > 0 {
		c.note(fmt.Sprintf("outside the %.4g to %.4g W that both sides cover nothing is compared: %s",
			math.Exp(places[0]), math.Exp(places[len(places)-1]), counted(outside, "measured point")))
	}
	if min(len(a), len(b)) < 3 {
		c.note("a side has fewer than three points: between them a straight line is assumed, which the bounds do not cover")
	}
}
