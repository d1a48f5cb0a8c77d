package chart

import (
	"math"
	"time"
)

// Chart is one picture: a title, one to three panels, a key and a footer.
type Chart struct {
	Name   string   // of its files, without ending
	Title  string   // the finding: what a reader takes home, no more than the top of the page may say
	Lines  []string // the subtitle: what is drawn, of which workload and supply, in which unit
	Alt    string   // the verdict in words, for those who cannot see it
	Footer []string // beneath the key: what was tested, how, when, and the publisher's own line

	Panels  []Panel
	Beside  bool // panels stand side by side where there is room, else one above the other
	Sharing bool // panels one above the other share their x axis
	// Aside puts the first panel and those of rows left, where there is room, and the others
	// one above the other at their right; the panels share their x axis.
	Aside bool
	Key   []Item // symbols that need a word, beneath the panels
}

// Panel is one pair of axes with what is drawn on them.
type Panel struct {
	Title string
	X, Y  Axis

	Rows   []Row // a list of things in place of the y axis; no curves
	Spans  []Span
	Lanes  []Lane
	Strip  []Cell
	Guides []Guide
	Series []Series
	Marks  []Mark
}

// Axis says what an axis measures. The zero value fits the data.
type Axis struct {
	Label string   // quantity, and unit where Unit is empty
	Unit  string   // written behind the label, after a power of ten where the numbers want one
	Names []string // words at 1, 2, ... instead of numbers
	From  *float64 // lower end; nil: as the data want it, or 0 where that wastes little
	To    *float64 // upper end; nil: as the data want it
	Log   bool
	// At are the places of the ticks; nil: round numbers.
	At []float64
	// Also are values that the axis fits besides those that are drawn, so that several
	// charts have the same axis.
	Also []float64
	// Signed writes a plus before numbers above 0.
	Signed bool
	// Clock makes the values seconds of the day at this place (Unix time).
	Clock *time.Location
}

// Point is one value with its interval. Lower and Upper are NaN where the interval is
// not known; a Y that is NaN leaves a gap in the line.
type Point struct{ X, Y, Lower, Upper float64 }

// Series is one curve. Style picks its colour, marker and dashes: from 0 that of something
// that is compared, such as a device; Ink; or a Quantity.
type Series struct {
	Name    string
	Style   int
	Points  []Point
	Joined  bool      // by straight lines
	Bare    bool      // without markers
	Steps   bool      // each value holds until the next point
	Crossed bool      // small crosses instead of the style's markers
	Small   bool      // small markers, for many points
	Ringed  bool      // rings around markers that are drawn already: what is off the trend
	Starred bool      // stars in the style's colour instead of its markers: runs unlike their repeats
	NotKept []float64 // x of settings that are not kept: hollow markers, which mean nothing else
	Fine    bool      // a thin unbroken line, for what goes up and down quickly
	// Across are the intervals of the points' x, one for each; none where From is not below
	// To. nil: no point has one.
	Across []Reach
	// Words stand beside the points, one for each; those without room are left out.
	Words []string
}

// Reach is a stretch on an axis.
type Reach struct{ From, To float64 }

// nowhere is the reach that holds no value.
var nowhere = Reach{math.Inf(1), math.Inf(-1)}

// widen makes a reach hold values, but for those that are not finite.
func (r *Reach) widen(values ...float64) {
	for _, v := range values {
		if !math.IsNaN(v) && !math.IsInf(v, 0) {
			r.From, r.To = min(r.From, v), max(r.To, v)
		}
	}
}

// ReachX is from the least to the greatest x of a panel's points. Without any, To is
// below From.
func (p *Panel) ReachX() Reach {
	r := nowhere
	for _, s := range p.Series {
		for _, q := range s.Points {
			r.widen(q.X)
		}
		for _, a := range s.Across {
			r.widen(a.From, a.To)
		}
	}
	for _, row := range p.Rows {
		for _, q := range row.Pieces {
			r.widen(q.From, q.To)
		}
		for _, q := range row.Spots {
			r.widen(q.At, q.Lower, q.Upper)
		}
	}
	return r
}

// ReachY is the same upright, with intervals and level guides.
func (p *Panel) ReachY() Reach {
	r := nowhere
	for _, s := range p.Series {
		for _, q := range s.Points {
			r.widen(q.Y, q.Lower, q.Upper)
		}
	}
	for _, g := range p.Guides {
		if g.Y != nil {
			r.widen(*g.Y)
		}
	}
	return r
}

// Lane is a bar beneath the curves: the stretch of the x axis where one of them is as
// good as at its best, with that curve's marker at the best.
type Lane struct {
	Reach
	Style int
	At    float64
}

// Span shades a stretch of the x axis, with a word at its top.
type Span struct {
	Reach
	Text string
}

// Guide is a straight dashed line with a word: level (Y), upright (X) or, with
// neither, the line on which both axes are equal.
type Guide struct {
	X, Y  *float64
	Text  string
	Style int // 0: ink; n: colour of style n-1
	// Thick stands for zero and other lines that the eye starts from.
	Thick bool
	// Low writes the word beneath a level line instead of above it, Left at its
	// left end.
	Low, Left bool
}

// Verdict is what a cell of the strip says.
type Verdict int

const (
	Ahead   Verdict = iota // the side with the style is ahead
	Level                  // level within the margin
	Unclear                // it cannot be told
	NotKept                // a side does not keep to the settings: nothing is compared
)

// Cell is a band of the strip of verdicts.
type Cell struct {
	Reach
	Verdict Verdict
	Style   int // of the side that is ahead
}

// Mark is an upright line with a short badge, explained in the key.
type Mark struct {
	X     float64
	Badge string
}

// Item is one entry of the key: a symbol and what it means.
type Item struct {
	Symbol Symbol
	Style  int
	Badge  string
	Text   string
}

// Symbol is what stands before the words of an item.
type Symbol int

const (
	SymbolSeries Symbol = iota // marker and line of the style
	SymbolPoints               // marker of the style
	SymbolLine                 // line of the style
	SymbolAhead                // cell of the strip: the style's side is ahead
	SymbolLevel
	SymbolUnclear
	SymbolInterval // an interval bar
	SymbolLane     // a bar beneath the curves
	SymbolHollow   // a hollow marker
	SymbolBadge    // a numbered mark
	SymbolCross    // a small cross
	SymbolSpan     // shading
	SymbolGuide    // a dashed line
	SymbolCrossing // an upright line in its interval
	SymbolHatch    // a hatched piece: a setting that is not kept
	SymbolPlace    // an upright line with its interval, level
	SymbolRange    // a piece of the style's colour
	SymbolAcross   // a level interval bar
	SymbolRing     // around what is off the trend
	SymbolStar     // a run unlike its repeats
	SymbolNone
)
