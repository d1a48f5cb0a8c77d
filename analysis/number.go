package analysis

import (
	"encoding/json"
	"math"
)

// Number is a float64 whose unknown value is NaN in memory and null in JSON.
// Infinities also become null: JSON has no word for them.
type Number float64

// Unknown is the number that is not known.
func Unknown() Number { return Number(math.NaN()) }

// Known reports whether the number is finite.
func (n Number) Known() bool { return !math.IsNaN(float64(n)) && !math.IsInf(float64(n), 0) }

// MarshalJSON writes a finite number as it is and anything else as null.
func (n Number) MarshalJSON() ([]byte, error) {
	if !n.Known() {
		return []byte("null"), nil
	}
	return json.Marshal(float64(n))
}

// UnmarshalJSON reads null as the unknown number.
func (n *Number) UnmarshalJSON(text []byte) error {
	if string(text) == "null" {
		*n = Unknown()
		return nil
	}
	return json.Unmarshal(text, (*float64)(n))
}
