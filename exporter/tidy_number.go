package exporter

import (
	"errors"
	"fmt"
	"regexp"
	"strings"

	"sweepd/run"
)

// notation is how the numbers of a table are written, as far as it was read. A decimal
// comma is clear in 68,4. What 1,234 is depends on the other numbers: with 68,4 among
// them and no decimal point it is 1.234, and with a decimal point somewhere or nothing
// to tell by it may be 1234 as well. So it is with 1.234 where others have commas.
type notation struct {
	commas, points bool   // some number has a clear decimal comma, some a decimal point
	comma, point   *place // the first cells that could separate thousands by it
}

// thousands matches numbers whose decimal point could separate thousands.
var thousands = regexp.MustCompile(`^[+-]?[1-9][0-9]{0,2}\.[0-9]{3}$`)

// read reads a finite number.
func (n *notation) read(text string, at place) (float64, error) {
	v, err := run.ParseNumber(text)
	if errors.Is(err, run.ErrThousands) {
		n.comma = first(n.comma, at)
		return run.ParseNumber(strings.Replace(text, ",", ".", 1)) // unless doubt tells otherwise
	}
	if err != nil {
		return v, err
	}
	if strings.IndexByte(text, ',') >= 0 {
		n.commas = true
	} else if point := strings.IndexByte(text, '.'); point >= 0 {
		n.points = true
		if n.point == nil && point == len(text)-4 && thousands.MatchString(text) {
			n.point = first(nil, at)
		}
	}
	return v, nil
}

func first(before *place, at place) *place {
	if before != nil {
		return before
	}
	at.text = strings.Clone(at.text)
	return &at
}

// doubt is about the cell of which nothing in the table tells what it is, read so far or
// to its end; nil for none.
func (n *notation) doubt(file string, ended bool) error {
	in := func(p *place) error {
		point, without := strings.Replace(p.text, ",", ".", 1), strings.NewReplacer(",", "", ".", "").Replace(p.text)
		return p.error(file, fmt.Errorf("is it %s or %s? Write it without a separator of thousands, and all numbers with the same decimal sign", point, without))
	}
	switch {
	case n.comma != nil && (n.points || ended && !n.commas):
		return in(n.comma)
	case n.point != nil && (n.commas || n.comma != nil):
		return in(n.point)
	}
	return nil
}

// measure is a number with a unit behind it.
var measure = regexp.MustCompile(`^([+-]?[0-9.,]*[0-9.,](?:[eE][+-]?[0-9]+)?) ?([^0-9.,\s].*)$`)

// cutMeasure takes the unit off a number: "15W", "68,4 fps". A text that is no number
// with a unit that is understood stays as it is.
func cutMeasure(text string) (number, unit string) {
	if text == "" || '0' <= text[len(text)-1] && text[len(text)-1] <= '9' {
		return text, ""
	}
	if m := measure.FindStringSubmatch(text); m != nil && run.KnownUnit(m[2]) {
		return m[1], m[2]
	}
	return text, ""
}
