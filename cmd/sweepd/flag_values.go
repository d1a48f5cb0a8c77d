package main

import (
	"errors"
	"fmt"
	"strconv"
	"strings"

	"github.com/spf13/pflag"

	"sweepd/analysis"
	"sweepd/run"
)

// decimalFlag is a flag of the library's that takes a number, in decimal notation only:
// the library also takes 0x10, 1_000, and 010 for eight.
type decimalFlag struct{ pflag.Value }

func (d *decimalFlag) Set(text string) error {
	if _, err := run.ParseNumber(text); err != nil {
		return errors.New("want a number in decimal notation, such as 12")
	}
	if digits := strings.TrimLeft(text, "0"); digits != "" && digits[0] >= '1' && digits[0] <= '9' {
		text = digits
	}
	return d.Value.Set(text)
}

// inDecimal has the flags of a command take numbers in decimal notation only.
func inDecimal(f *pflag.Flag) {
	switch f.Value.Type() {
	case "int", "uint64", "float64":
		f.Value = &decimalFlag{f.Value}
	}
}

// ratioFlag is a flag that takes 2% or 0.02.
type ratioFlag struct {
	value float64
	given bool
}

var _ pflag.Value = (*ratioFlag)(nil)

func (s *ratioFlag) Type() string { return "SHARE" }

func (s *ratioFlag) String() string {
	if !s.given {
		return ""
	}
	return strconv.FormatFloat(100*s.value, 'g', -1, 64) + "%"
}

func (s *ratioFlag) Set(text string) error {
	number, percent := strings.CutSuffix(strings.TrimSpace(text), "%")
	v, err := run.ParseNumber(strings.TrimSpace(number))
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
func (s *ratioFlag) pointer() *float64 {
	if !s.given {
		return nil
	}
	return &s.value
}

// energiesFlag is a repeatable flag that takes what a battery holds, after the device
// or variant that it is of and before its uncertainty: 48.6Wh, unit-oak=48.6Wh,
// pack=100Wh=148.6Wh, device=unit-oak,pack=100Wh=148.6Wh, 48.6Wh+-2%.
type energiesFlag []analysis.FullEnergy

var _ pflag.Value = (*energiesFlag)(nil)

func (e *energiesFlag) Type() string { return "[WHOSE=]Wh" }

func (e *energiesFlag) String() string { return "" }

var errEnergy = errors.New("want watt hours above 0, such as 48.6Wh, unit-oak=48.6Wh, device=unit-oak,pack=100Wh=148.6Wh or 48.6Wh+-2%")

func (e *energiesFlag) Set(text string) error {
	var f analysis.FullEnergy
	if at := strings.LastIndexByte(text, '='); at >= 0 {
		var err error
		if f.Device, f.Variant, err = parseOwner(text[:at]); err != nil {
			return err
		}
		text = text[at+1:]
	}
	number, uncertainty, unsure := strings.Cut(strings.ReplaceAll(text, "±", "+-"), "+-")
	if unsure {
		var s ratioFlag
		if err := s.Set(uncertainty); err != nil {
			return errEnergy
		}
		f.RSE = s.value
	}
	number = strings.TrimSpace(number)
	if short, unit := number[:max(0, len(number)-2)], number[max(0, len(number)-2):]; strings.EqualFold(unit, "Wh") {
		number = strings.TrimSpace(short)
	}
	var err error
	if f.Wh, err = run.ParseNumber(number); err != nil || f.Wh <= 0 {
		return errEnergy
	}
	*e = append(*e, f)
	return nil
}

// parseOwner reads what a battery is of: a device, or pairs of which device= names one
// and the others are a variant, as runs have it.
func parseOwner(text string) (device, variant string, err error) {
	if !strings.Contains(text, "=") {
		if text == "" {
			return "", "", errEnergy
		}
		return text, "", nil
	}
	pairs := map[string]string{}
	for pair := range strings.SplitSeq(text, ",") {
		key, value, ok := strings.Cut(strings.TrimSpace(pair), "=")
		if !ok || key == "" || value == "" {
			return "", "", fmt.Errorf("%q is not a pair such as pack=100Wh", pair)
		}
		if key == "device" {
			device = value
			continue
		}
		pairs[key] = value
	}
	return device, string(run.NewVariant(pairs)), nil
}

// isFolder refuses what is meant as standard output where files go into a folder.
func isFolder(dir string) error {
	if dir == "-" {
		return misused(errors.New("--out -: there are several files, which do not fit on standard output: name a folder (./- if it is to be called so)"))
	}
	return nil
}

// choiceFlag is a flag that takes one of a few words.
type choiceFlag struct {
	value string
	words []string
}

var _ pflag.Value = (*choiceFlag)(nil)

func (c *choiceFlag) Type() string { return strings.Join(c.words, "|") }

func (c *choiceFlag) String() string { return c.value }

func (c *choiceFlag) Set(text string) error {
	for _, w := range c.words {
		if text == w {
			c.value = w
			return nil
		}
	}
	if near := run.Near(text, c.words); near != "" {
		return fmt.Errorf("did you mean %s? Want one of %s", near, strings.Join(c.words, ", "))
	}
	return fmt.Errorf("want one of %s", strings.Join(c.words, ", "))
}
