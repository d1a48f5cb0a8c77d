package run

import (
	"errors"
	"fmt"
	"regexp"
	"strconv"
	"strings"
)

// ErrThousands is wrapped where a comma may separate thousands or decimals.
var ErrThousands = errors.New("a comma before three digits may separate thousands or decimals")

var (
	decimalComma = regexp.MustCompile(`^[+-]?[0-9]*,[0-9]+([eE][+-]?[0-9]+)?$`)
	// thousandsComma is a decimal comma that may separate thousands as well: no number
	// with separators begins with 0, or has more than three digits before the first.
	thousandsComma = regexp.MustCompile(`^[+-]?[1-9][0-9]{0,2},[0-9]{3}([eE][+-]?[0-9]+)?$`)
)

// ParseNumber reads a finite number in decimal notation, as people and tables write it:
// 12.5, 12,5, -3, 1e3. What Go's own syntax has beside that (1_000, 0x10, NaN, Inf) is an
// error, as is what is too large for a number. So is 1,234, which may be 1.234 as well as
// 1234 (ErrThousands); 0,234 and 1234,567 are not in doubt.
func ParseNumber(text string) (float64, error) {
	fail := func(why error) (float64, error) {
		return 0, &strconv.NumError{Func: "ParseNumber", Num: strings.Clone(text), Err: why}
	}
	digits := text
	if strings.Contains(text, ",") {
		switch {
		case thousandsComma.MatchString(text):
			return fail(fmt.Errorf("%w: %w", strconv.ErrSyntax, ErrThousands))
		case !decimalComma.MatchString(text):
			return fail(strconv.ErrSyntax)
		}
		digits = strings.Replace(text, ",", ".", 1)
	}
	for i := range len(digits) {
		if !strings.Contains("0123456789.+-eE", digits[i:i+1]) {
			return fail(strconv.ErrSyntax)
		}
	}
	return strconv.ParseFloat(digits, 64)
}

// ThousandsHint says how a number is written that ParseNumber refused for its comma, in
// brackets and after a space; "" for any other error.
func ThousandsHint(err error) string {
	var number *strconv.NumError
	if !errors.Is(err, ErrThousands) || !errors.As(err, &number) {
		return ""
	}
	return fmt.Sprintf(" (%s may be %s or %s: write which)", number.Num, strings.Replace(number.Num, ",", ".", 1), strings.Replace(number.Num, ",", "", 1))
}
