package run

import (
	"strconv"
	"strings"
)

// ParseNumber reads a finite number in decimal notation, as people and tables write it:
// 12.5, -3, 1e3. What Go's own syntax has beside that (1_000, 0x10, NaN, Inf) is an
// error, as is what is too large for a number.
func ParseNumber(text string) (float64, error) {
	for i := range len(text) {
		if !strings.Contains("0123456789.+-eE", text[i:i+1]) {
			return 0, &strconv.NumError{Func: "ParseNumber", Num: strings.Clone(text), Err: strconv.ErrSyntax}
		}
	}
	return strconv.ParseFloat(text, 64)
}
