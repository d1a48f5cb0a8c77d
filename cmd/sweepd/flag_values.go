package main

import (
	"errors"
	"fmt"
	"strconv"
	"strings"

	"github.com/spf13/pflag"

	"sweepd/run"
	"sweepd/testday"
)

// decimalFlag is a flag of the library's that takes a number, in decimal notation only:
// the library also takes 0x10, 1_000, and 010 for eight.
type decimalFlag struct{ pflag.Value }

func (d *decimalFlag) Set(text string) error {
	if _, err := run.ParseNumber(text); err != nil {
		return errors.New("want a number in decimal notation, such as 12")
	}
	text = strings.Replace(text, ",", ".", 1)
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

func (s *ratioFlag) Set(text string) (err error) {
	v, err := testday.ParseShare(text)
	if err == nil {
		s.value, s.given = v, true
	}
	return err
}

// pointer is nil unless the flag was given.
func (s *ratioFlag) pointer() *float64 {
	if !s.given {
		return nil
	}
	return &s.value
}

// energiesFlag is a repeatable flag that takes what a battery holds, see
// testday.ParseFullEnergy.
type energiesFlag []string

var _ pflag.Value = (*energiesFlag)(nil)

func (e *energiesFlag) Type() string { return "[WHOSE=]Wh" }

func (e *energiesFlag) String() string { return "" }

func (e *energiesFlag) Set(text string) error {
	if _, err := testday.ParseFullEnergy(text); err != nil {
		return err
	}
	*e = append(*e, text)
	return nil
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

// countFlag is a flag that takes a number of things, from 1; 0 where it is not given.
type countFlag int

var _ pflag.Value = (*countFlag)(nil)

func (*countFlag) Type() string { return "N" }

func (c *countFlag) String() string {
	if *c == 0 {
		return ""
	}
	return strconv.Itoa(int(*c))
}

func (c *countFlag) Set(text string) error {
	n, err := strconv.Atoi(text)
	if err != nil || n < 1 {
		return errors.New("want a whole number from 1")
	}
	*c = countFlag(n)
	return nil
}
