package run

import (
	"fmt"
	"math"
	"regexp"
	"strings"
)

// Better says which results win.
type Better string

const (
	Higher Better = "higher"
	Lower  Better = "lower"
)

// Result is a number that the workload reported.
type Result struct {
	Value  float64 `json:"value"`
	Unit   string  `json:"unit"`
	Better Better  `json:"better"`
}

// maxUnit is the most bytes of a result's unit.
const maxUnit = 40

// differenceName is of a result that is a difference, and so may be below 0 in any unit.
var differenceName = regexp.MustCompile(`(?i)delta|diff|change|gain|offset|drift|skew`)

// CheckSign tells why a result that a person gives is a slip: no rate and no duration is
// below 0, only a difference of them is. Tables and data of other versions may have what
// they have.
func CheckSign(name string, r Result) error {
	if r.Value < 0 && neverNegative(r.Unit) && !differenceName.MatchString(name) {
		return fmt.Errorf("result %s: %v %s is below 0, which no rate and no duration is (call a difference one: %s_delta)", name, r.Value, r.Unit, name)
	}
	return nil
}

// CheckResult tells why a result cannot be kept, wherever it is from. The value is
// finite; the unit may be empty.
func CheckResult(name string, r Result) error {
	if err := CheckLabel("name of a result", name); err != nil {
		return err
	}
	if strings.ContainsAny(name, "=,") {
		return fmt.Errorf("result name %q may not hold '=' or ','", name)
	}
	if math.IsNaN(r.Value) || math.IsInf(r.Value, 0) {
		return fmt.Errorf("result %s=%v is not a finite number", name, r.Value)
	}
	if len(r.Unit) > maxUnit {
		return fmt.Errorf("result %s: unit %q has %d bytes: at most %d are allowed", name, Shorten(r.Unit), len(r.Unit), maxUnit)
	}
	if r.Unit != "" {
		if err := CheckLabel("unit", r.Unit); err != nil {
			return fmt.Errorf("result %s: %w", name, err)
		}
	}
	if r.Better != Higher && r.Better != Lower {
		return fmt.Errorf("result %s: better is %q, want higher or lower", name, r.Better)
	}
	return nil
}
