package testday

import (
	"context"
	"errors"
	"slices"
	"time"

	"sweepd/analysis"
	"sweepd/report/sentence"
	"sweepd/run"
)

// CompareRequest asks which side is ahead, as analysis.CompareRequest does.
type CompareRequest struct {
	AnalysisRequest
	By     string   `json:"by"`
	A      string   `json:"a"`
	B      string   `json:"b"`
	At     string   `json:"at"`
	Per    string   `json:"per"`
	Margin *float64 `json:"margin"`
	Price  []string `json:"price"` // see ParsePrices; none: those of the configuration
}

// Question is the request as the analysis takes it.
func (q *CompareRequest) Question() analysis.CompareRequest {
	return analysis.CompareRequest{By: q.By, A: q.A, B: q.B, Metric: q.Metric, At: q.At, Per: q.Per, Margin: q.Margin, Declared: q.Noise}
}

// CompareRuns says which side is ahead at which setting.
var CompareRuns = &Operation[CompareRequest, ComparisonJSON]{
	About{Method: "GET", Path: "/compare", Summary: "Says which side is ahead at which setting, and whether that is more than noise."},
	func(ctx context.Context, d *Day, q CompareRequest) (a ComparisonJSON, err error) {
		if err := q.check(d.Now); err != nil {
			return a, err
		}
		prices, err := d.PricesOr(q.Price)
		if err != nil {
			return a, err
		}
		x, err := q.selection(ctx, d)
		if err != nil {
			return a, err
		}
		c, err := Compare(x, q.Question(), prices, d.Now)
		a = c.JSON()
		a.Skipped = x.skipped()
		return a, withSkipped(x, err)
	},
}

// check tells what of the request means nothing.
func (q *CompareRequest) check(now time.Time) error {
	watts := []string{analysis.AtSetting, analysis.AtPackage, analysis.AtSystem}
	return errors.Join(CheckSides(q.Question(), now), oneOf("at", q.At, watts...), oneOf("per", q.Per, watts...))
}

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
	if q.By == "" && (meansSupply(q.A) || meansSupply(q.B)) {
		return requestError(errors.New("compare what? Did you mean --by supply (battery against mains)?"))
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

// meansSupply tells whether a side is the name of a supply, or a slip of it.
func meansSupply(side string) bool {
	supplies := []string{string(run.Mains), string(run.Battery)}
	return slices.Contains(supplies, side) || run.Near(side, supplies) != ""
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
	Value   *sentence.ValueJSON `json:"value"`
	Skipped SkippedJSON         `json:"skipped"`
}

// JSON is the comparison with its notes in words.
func (c Comparison) JSON() ComparisonJSON {
	return ComparisonJSON{CompareJSON: sentence.CompareAsJSON(c.CompareResult), Value: sentence.ValueAsJSON(c.Value)}
}
