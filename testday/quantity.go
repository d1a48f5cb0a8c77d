package testday

import (
	"errors"
	"fmt"
	"strings"

	"sweepd/analysis"
	"sweepd/run"
)

// ParseShare reads 2% or 0.02.
func ParseShare(text string) (float64, error) {
	number, percent := strings.CutSuffix(strings.TrimSpace(text), "%")
	v, err := run.ParseNumber(strings.TrimSpace(number))
	if percent {
		v /= 100
	}
	if err != nil || !(v >= 0 && v < 1) {
		return 0, errors.New("want a share of at least 0 and below 1, such as 2% or 0.02")
	}
	return v, nil
}

var errEnergy = errors.New("want watt hours above 0, such as 48.6Wh, unit-oak=48.6Wh, device=unit-oak,pack=100Wh=148.6Wh or 48.6Wh+-2%")

// ParseFullEnergy reads what a battery holds, after the device or variant that it is of
// and before its uncertainty: 48.6Wh, unit-oak=48.6Wh, pack=100Wh=148.6Wh,
// device=unit-oak,pack=100Wh=148.6Wh, 48.6Wh+-2%.
func ParseFullEnergy(text string) (f analysis.FullEnergy, err error) {
	if at := strings.LastIndexByte(text, '='); at >= 0 {
		if f.Device, f.Variant, err = parseOwner(text[:at]); err != nil {
			return f, err
		}
		text = text[at+1:]
	}
	number, uncertainty, unsure := strings.Cut(strings.ReplaceAll(text, "±", "+-"), "+-")
	if unsure {
		if f.RSE, err = ParseShare(uncertainty); err != nil {
			return f, errEnergy
		}
	}
	number = strings.TrimSpace(number)
	if short, unit := number[:max(0, len(number)-2)], number[max(0, len(number)-2):]; strings.EqualFold(unit, "Wh") {
		number = strings.TrimSpace(short)
	}
	if f.Wh, err = run.ParseNumber(number); err != nil || f.Wh <= 0 {
		return f, errEnergy
	}
	return f, nil
}

// ParseFullEnergies reads several, see ParseFullEnergy.
func ParseFullEnergies(texts []string) ([]analysis.FullEnergy, error) {
	var list []analysis.FullEnergy
	for _, text := range texts {
		f, err := ParseFullEnergy(text)
		if err != nil {
			return nil, requestError(fmt.Errorf("full energy %q: %w", text, err))
		}
		list = append(list, f)
	}
	return list, nil
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

// ParsePrices reads what devices cost: unit-oak=749EUR, all in one currency.
func ParsePrices(texts []string) (p analysis.Prices, err error) {
	p.ByDevice = map[string]float64{}
	for _, text := range texts {
		if err := addPrice(&p, text); err != nil {
			return p, requestError(fmt.Errorf("price %q: %w", text, err))
		}
	}
	return p, nil
}

func addPrice(p *analysis.Prices, text string) error {
	device, amount, ok := strings.Cut(text, "=")
	number := strings.TrimSpace(strings.TrimRightFunc(amount, func(r rune) bool { return r != '.' && (r < '0' || r > '9') }))
	currency := strings.TrimSpace(strings.TrimPrefix(strings.TrimSpace(amount), number))
	v, err := run.ParseNumber(number)
	if !ok || device == "" || err != nil || v <= 0 {
		return errors.New("want a device and an amount above 0, such as unit-oak=749EUR")
	}
	if p.Currency != "" && currency != "" && currency != p.Currency {
		return fmt.Errorf("prices in %s and %s cannot be compared: give all in one currency", p.Currency, currency)
	}
	if currency != "" {
		p.Currency = currency
	}
	p.ByDevice[device] = v
	return nil
}
