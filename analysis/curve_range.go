package analysis

import "math"

// What an effective range was found from.
const (
	RangeFromPackage = "package_w" // measured package watts against set watts
	RangeFromResults = "results"   // results alone: only ignored low settings can be seen
)

// Effective is the range of settings that the device follows. Below FromW it
// ignores them and acts as if set to FloorW, above ToW as if set to CapW; both
// null where there is none.
type Effective struct {
	FromW  Number `json:"from_w"`
	ToW    Number `json:"to_w"`
	FloorW Number `json:"floor_w"`
	CapW   Number `json:"cap_w"`
	Source string `json:"source"` // package_w, results, or empty: the range is that of the settings tested
}

// addRange adds the effective range and returns the test for being inside it.
func (c *curveGroup) addRange() (inside func(watts float64) bool) {
	c.out.Effective = Effective{Unknown(), Unknown(), Unknown(), Unknown(), ""}
	if !c.watts {
		return func(float64) bool { return true }
	}
	r := &c.out.Effective
	r.FromW, r.ToW = Number(c.means[0].watts), Number(c.means[len(c.means)-1].watts)
	if measured, ok := c.rangeFromPackage(r); !ok {
		c.rangeFromResults(r, measured)
	}
	from, to := float64(r.FromW), float64(r.ToW)
	return func(watts float64) bool { return from <= watts && watts <= to }
}

// How many settings an effective range takes.
const (
	leastPackageForRange = 3 // with package watts
	leastResultsForRange = 4 // by results, none of them departed
)

// rangeFromPackage fills the range from package watts, if enough and at least half
// of the settings have them; measured is how many have.
func (c *curveGroup) rangeFromPackage(r *Effective) (measured int, ok bool) {
	fit, set, ok := packageRange(c.runs, c.samples)
	if !ok {
		return len(set), false
	}
	r.Source = RangeFromPackage
	r.FloorW, r.CapW = Number(fit.lo), Number(fit.hi)
	if fit.from > 0 {
		r.FromW = Number(set[fit.from])
	}
	if fit.to < len(set)-1 {
		r.ToW = Number(set[fit.to])
	}
	return len(set), true
}

// rangeFromResults fills the range from the results, without departed settings,
// where too few settings, measured, have package watts.
func (c *curveGroup) rangeFromResults(r *Effective, measured int) {
	var inLine []estimate
	for j, e := range c.means {
		if !c.departed(j) {
			inLine = append(inLine, e)
		}
	}
	found := rangeFromResults(inLine)
	r.Source = RangeFromResults
	r.FloorW = Number(found.lo)
	if found.ignored > 0 {
		r.FromW = Number(inLine[found.ignored].watts)
	}
	noNoise := math.IsNaN(c.means[0].v)
	if len(inLine) < leastResultsForRange || noNoise {
		r.Source = ""
		code := NoteRangeNotTested
		if noNoise && measured < len(c.samples) {
			code = NoteRangeWithoutNoise
		}
		c.note(Note{Code: code, Count: measured, InLine: len(inLine), Of: len(c.samples)})
		return
	}
	c.note(Note{Code: NoteRangeByResults, Count: measured, Of: len(c.samples)})
	if found.flat {
		c.note(Note{Code: NoteFlatResults})
	}
}
