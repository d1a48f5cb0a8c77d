package testday

import (
	"errors"
	"slices"
	"time"

	"sweepd/analysis"
	"sweepd/report/sentence"
)

// Comparison is an answer to which side is ahead.
type Comparison struct {
	analysis.CompareResult
	Value *analysis.ValueResult // what the dearer device buys; nil without prices
}

// CheckSides tells why the sides of a comparison cannot be understood.
func CheckSides(q analysis.CompareRequest, now time.Time) error {
	_, q, err := splitByTime(nil, q, now)
	if err != nil {
		return err
	}
	if q.By == "" && (q.A == "" || q.B == "") {
		return requestError(errors.New("compare what? Give --by device, supply or variant, or both sides (--a, --b)"))
	}
	for _, side := range []string{q.A, q.B} {
		if side == "" {
			continue
		}
		if _, err := analysis.ParseSelection(q.By, side); err != nil {
			return requestError(err)
		}
	}
	return nil
}

// Compare says which side is ahead at which setting, and what that is worth where
// devices are compared that have prices. The sides may differ in when their runs
// started, see splitByTime.
func Compare(x Selection, q analysis.CompareRequest, prices analysis.Prices, now time.Time) (c Comparison, err error) {
	runs, q, err := splitByTime(x.Runs, q, now)
	if err != nil {
		return c, err
	}
	if c.CompareResult, err = analysis.Compare(runs, q); err != nil {
		return c, err
	}
	between := slices.ContainsFunc(c.Comparisons, func(c analysis.Comparison) bool { return c.Device == nil })
	if len(prices.ByDevice) == 0 || !between {
		return c, nil
	}
	value, err := analysis.Value(c.CompareResult, prices)
	c.Value = &value
	return c, err
}

// ComparisonJSON is a comparison as the API shows it.
type ComparisonJSON struct {
	sentence.CompareJSON
	Value *sentence.ValueJSON `json:"value"`
}

// JSON is the comparison with its notes in words.
func (c Comparison) JSON() ComparisonJSON {
	return ComparisonJSON{sentence.CompareAsJSON(c.CompareResult), sentence.ValueAsJSON(c.Value)}
}
