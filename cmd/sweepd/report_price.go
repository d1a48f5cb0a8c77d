package main

import (
	"errors"

	"sweepd/testday"
)

// pricesFlag is a repeatable flag that takes unit-oak=749EUR.
type pricesFlag []string

func (p *pricesFlag) Type() string { return "price" }

func (p *pricesFlag) String() string { return "" }

func (p *pricesFlag) Set(text string) error {
	if _, err := testday.ParsePrices(append(*p, text)); err != nil {
		return errors.Unwrap(errors.Unwrap(err)) // the flag names the text already
	}
	*p = append(*p, text)
	return nil
}
