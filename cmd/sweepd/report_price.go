package main

import (
	"fmt"
	"strings"

	"sweepd/analysis"
	"sweepd/run"
)

// pricesFlag is a repeatable flag that takes unit-oak=749EUR.
type pricesFlag struct{ analysis.Prices }

func (p *pricesFlag) Type() string { return "price" }

func (p *pricesFlag) String() string { return "" }

func (p *pricesFlag) Set(text string) error {
	device, amount, ok := strings.Cut(text, "=")
	number := strings.TrimSpace(strings.TrimRightFunc(amount, func(r rune) bool { return r != '.' && (r < '0' || r > '9') }))
	currency := strings.TrimSpace(strings.TrimPrefix(strings.TrimSpace(amount), number))
	v, err := run.ParseNumber(number)
	if !ok || device == "" || err != nil || v <= 0 {
		return fmt.Errorf("want a device and an amount above 0, such as unit-oak=749EUR")
	}
	if p.Currency != "" && currency != "" && currency != p.Currency {
		return fmt.Errorf("prices in %s and %s cannot be compared: give all in one currency", p.Currency, currency)
	}
	if currency != "" {
		p.Currency = currency
	}
	if p.ByDevice == nil {
		p.ByDevice = map[string]float64{}
	}
	p.ByDevice[device] = v
	return nil
}

// or is the prices of the command line, else those of the configuration.
func (p *pricesFlag) or(configured map[string]float64) analysis.Prices {
	if len(p.ByDevice) > 0 {
		return p.Prices
	}
	return analysis.Prices{ByDevice: configured}
}
