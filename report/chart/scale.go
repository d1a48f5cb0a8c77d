package chart

import (
	"math"
	"strconv"
	"strings"
	"time"
)

// scale maps the values of an axis to a stretch of the picture.
type scale struct {
	axis     *Axis
	min, max float64
	from, to float64 // in the picture
}

func (s scale) at(v float64) float64 {
	fraction := (v - s.min) / (s.max - s.min)
	if s.axis.Log {
		fraction = math.Log(v/s.min) / math.Log(s.max/s.min)
	}
	return s.from + fraction*(s.to-s.from)
}

// zeroBelow is a fraction of the largest value. An axis whose smallest value is below
// it starts at zero: the space lost is less than what a cut axis would hide.
const zeroBelow = 0.7

// fit chooses the ends of an axis for values from low to high, with room beyond both.
// An axis of numbers that are nowhere negative starts at zero where that wastes little.
func (a *Axis) fit(low, high float64) (min, max float64) {
	if len(a.Names) > 0 {
		return 0.5, float64(len(a.Names)) + 0.5
	}
	if !(low <= high) {
		low, high = 0, 1
	}
	if a.Log {
		return a.ends(low/1.15, high*1.15)
	}
	pad := (high - low) * 0.06
	if pad == 0 {
		pad = math.Abs(high) * 0.05
	}
	if pad == 0 {
		pad = 0.5
	}
	min, max = low-pad, high+pad
	if low >= 0 && a.Clock == nil && low < zeroBelow*high {
		min = 0
	}
	return a.ends(min, max)
}

func (a *Axis) ends(min, max float64) (float64, float64) {
	if a.From != nil {
		min = *a.From
	}
	if a.To != nil {
		max = *a.To
	}
	if !(min < max) {
		max = min + 1
	}
	return min, max
}

type tick struct {
	at   float64
	text string
}

// ticks places at most about n round numbers on the axis.
func (s scale) ticks(n int) []tick {
	a := s.axis
	switch {
	case len(a.Names) > 0:
		list := make([]tick, len(a.Names))
		for i, name := range a.Names {
			list[i] = tick{float64(i + 1), name}
		}
		return list
	case a.Clock != nil:
		return s.clockTicks(n)
	case a.Log:
		return s.logTicks()
	case len(a.At) > 0:
		var list []tick
		for _, v := range a.At {
			if v >= s.min && v <= s.max {
				list = append(list, tick{v, strconv.FormatFloat(math.Round(v*100)/100, 'f', -1, 64)})
			}
		}
		return list
	}
	unit := math.Pow10(s.power())
	step := roundStep((s.max - s.min) / unit / (float64(max(n, 1)) + 0.5))
	places := max(0, -int(math.Floor(math.Log10(step)+1e-9)))
	if m := step * math.Pow10(places); math.Abs(m-math.Round(m)) > 1e-9 {
		places++
	}
	var list []tick
	for i := math.Ceil(s.min/unit/step - 1e-9); i*step <= s.max/unit+step*1e-9 && len(list) <= 2*n+2; i++ { // i stays where the values differ too little
		v := i * step
		text := strconv.FormatFloat(v, 'f', places, 64)
		if len(text) > longestNumber && math.Abs(i) < 1000 { // on an axis without words, which could say a power of ten
			text = strconv.FormatFloat(v, 'g', 4, 64)
		}
		if v == 0 || strings.Trim(text, "-0.") == "" {
			v, text = 0, "0"
		}
		if a.Signed && v > 0 {
			text = "+" + text
		}
		list = append(list, tick{v * unit, strings.Replace(text, "-", "−", 1)})
	}
	return list
}

// Numbers from longNumber on, and below shortNumber, are written in a power of ten
// that stands in the axis' label once.
const (
	longNumber  = 1e6
	shortNumber = 1e-3
)

// longestNumber is how many letters a number of an axis has at most, unless short ones
// would not differ.
const longestNumber = 9

// power is the power of ten in which an axis' numbers are written: a multiple of 3,
// as the prefixes of the SI are.
func (s scale) power() int {
	a := s.axis
	most := max(math.Abs(s.min), math.Abs(s.max))
	if a.Label == "" || a.Log || a.Clock != nil || len(a.Names) > 0 || len(a.At) > 0 || !(most > 0) || math.IsInf(most, 0) || most >= shortNumber && most < longNumber {
		return 0
	}
	return 3 * int(math.Floor(math.Log10(most)/3))
}

// label is what the axis measures, in which unit.
func (s scale) label() string {
	parts := s.axis.Unit
	if p := s.power(); p != 0 {
		parts = strings.TrimSpace("10" + Exponent(p) + " " + parts)
	}
	if parts == "" {
		return s.axis.Label
	}
	return s.axis.Label + ", " + parts
}

// Exponent writes a number in raised figures, to stand behind a 10.
func Exponent(n int) string {
	return strings.Map(func(r rune) rune {
		for up, figure := range raised {
			if figure == r || figure == '−' && r == '-' {
				return up
			}
		}
		return r
	}, strconv.Itoa(n))
}

// roundStep is the smallest of 1, 2, 2.5 and 5 times a power of ten that is not
// below v.
func roundStep(v float64) float64 {
	unit := math.Pow(10, math.Floor(math.Log10(v)))
	for _, m := range []float64{1, 2, 2.5, 5} {
		if m*unit >= v*(1-1e-9) {
			return m * unit
		}
	}
	return 10 * unit
}

func (s scale) logTicks() []tick {
	var list []tick
	decades := math.Log10(s.max / s.min)
	steps := []float64{1, 2, 5}
	if decades > 3 {
		steps = []float64{1}
	}
	for e := math.Floor(math.Log10(s.min)); e <= math.Log10(s.max); e++ {
		for _, m := range steps {
			v := m * math.Pow(10, e)
			if v >= s.min*(1-1e-9) && v <= s.max*(1+1e-9) {
				list = append(list, tick{v, logText(m, int(e))})
			}
		}
	}
	return list
}

// logText writes m times a power of ten.
func logText(m float64, e int) string {
	if e >= -3 && e <= 4 {
		return strconv.FormatFloat(m*math.Pow10(e), 'g', 5, 64)
	}
	text := "10" + Exponent(e)
	if m != 1 {
		text = strconv.FormatFloat(m, 'g', 2, 64) + "×" + text
	}
	return text
}

// clockSteps are the distances between ticks on an axis of time.
var clockSteps = []time.Duration{time.Minute, 2 * time.Minute, 5 * time.Minute, 10 * time.Minute, 15 * time.Minute, 30 * time.Minute,
	time.Hour, 2 * time.Hour, 3 * time.Hour, 6 * time.Hour, 12 * time.Hour, 24 * time.Hour}

func (s scale) clockTicks(n int) []tick {
	wanted := (s.max - s.min) / float64(max(n, 1))
	step := clockSteps[len(clockSteps)-1]
	for _, c := range clockSteps {
		if c.Seconds() >= wanted {
			step = c
			break
		}
	}
	for step.Seconds() < wanted {
		step *= 2
	}
	first := time.Unix(int64(s.min), 0).In(s.axis.Clock)
	day := time.Date(first.Year(), first.Month(), first.Day(), 0, 0, 0, 0, s.axis.Clock)
	var list []tick
	for t := day; float64(t.Unix()) <= s.max; t = t.Add(step) {
		if v := float64(t.Unix()); v >= s.min {
			layout := "15:04"
			if t.Hour() == 0 && t.Minute() == 0 && v > s.min {
				layout = "2 Jan"
			}
			list = append(list, tick{v, t.Format(layout)})
		}
	}
	return list
}
