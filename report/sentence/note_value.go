package sentence

import (
	"fmt"

	"sweepd/analysis"
)

// noteOnValue says what is noted of prices.
func noteOnValue(n analysis.Note) string {
	switch n := n.(type) {
	case analysis.OneDevice:
		return fmt.Sprintf("%s against %s: one device, so nothing is paid for the difference", Side(n.A), Side(n.B))
	case analysis.PriceUnknown:
		return fmt.Sprintf("the price of %s is not known", n.Device)
	case analysis.SamePrice:
		return fmt.Sprintf("%s and %s cost the same", n.A, n.B)
	}
	return ""
}
