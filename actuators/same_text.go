package actuators

import (
	"math"
	"strconv"
	"strings"
)

// SameText tells whether a place that reads got has what was asked for: the same text, or
// the same number within leeway in the place's own unit. White space around is no part.
func SameText(got, want string, leeway float64) bool {
	got, want = strings.TrimSpace(got), strings.TrimSpace(want)
	if got == want {
		return true
	}
	a, err := strconv.ParseFloat(got, 64)
	if err != nil {
		return false
	}
	b, err := strconv.ParseFloat(want, 64)
	return err == nil && math.Abs(a-b) <= leeway
}
