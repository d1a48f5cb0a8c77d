package main

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"github.com/spf13/pflag"

	"sweepd/analysis"
)

// share is a flag that takes 2% or 0.02.
type share struct {
	value float64
	given bool
}

var _ pflag.Value = (*share)(nil)

func (s *share) Type() string { return "share" }

func (s *share) String() string {
	if !s.given {
		return ""
	}
	return strconv.FormatFloat(100*s.value, 'g', -1, 64) + "%"
}

func (s *share) Set(text string) error {
	number, percent := strings.CutSuffix(strings.TrimSpace(text), "%")
	v, err := strconv.ParseFloat(strings.TrimSpace(number), 64)
	if percent {
		v /= 100
	}
	if err != nil || !(v >= 0 && v < 1) {
		return fmt.Errorf("want a share of at least 0 and below 1, such as 2%% or 0.02")
	}
	s.value, s.given = v, true
	return nil
}

// pointer is nil unless the flag was given.
func (s *share) pointer() *float64 {
	if !s.given {
		return nil
	}
	return &s.value
}

// energies is a repeatable flag that takes 48.6Wh or unit-oak=48.6Wh.
type energies []analysis.FullEnergy

var _ pflag.Value = (*energies)(nil)

func (e *energies) Type() string { return "energy" }

func (e *energies) String() string { return "" }

func (e *energies) Set(text string) error {
	device, number, named := strings.Cut(text, "=")
	if !named {
		device, number = "", text
	}
	number = strings.TrimSpace(number)
	if short, unit := number[:max(0, len(number)-2)], number[max(0, len(number)-2):]; strings.EqualFold(unit, "Wh") {
		number = strings.TrimSpace(short)
	}
	v, err := strconv.ParseFloat(number, 64)
	if err != nil || !(v > 0) || math.IsInf(v, 0) {
		return fmt.Errorf("want watt hours above 0, such as 48.6Wh or unit-oak=48.6Wh")
	}
	*e = append(*e, analysis.FullEnergy{Device: device, Wh: v})
	return nil
}

// choice is a flag that takes one of a few words.
type choice struct {
	value string
	words []string
}

var _ pflag.Value = (*choice)(nil)

func (c *choice) Type() string { return strings.Join(c.words, "|") }

func (c *choice) String() string { return c.value }

func (c *choice) Set(text string) error {
	for _, w := range c.words {
		if text == w {
			c.value = w
			return nil
		}
	}
	return fmt.Errorf("want one of %s", strings.Join(c.words, ", "))
}
