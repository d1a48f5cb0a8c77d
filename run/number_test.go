package run

import (
	"errors"
	"math"
	"strconv"
	"testing"
)

func TestParseNumber(t *testing.T) {
	for text, want := range map[string]float64{"12.5": 12.5, "-3": -3, "+.5": 0.5, "5.": 5, "1e3": 1000, "1.5E-3": 0.0015, "010": 10, "1e-999": 0} {
		if v, err := ParseNumber(text); v != want || err != nil {
			t.Errorf("%s: %v, %v", text, v, err)
		}
	}
	for _, text := range []string{"", "1_000", "0x10", "0x1p4", "NaN", "inf", "-Infinity", "1,5", " 1", "1e", "e", "1 000", "١"} {
		if v, err := ParseNumber(text); !errors.Is(err, strconv.ErrSyntax) {
			t.Errorf("%q: %v, %v", text, v, err)
		}
	}
	if v, err := ParseNumber("-1e999"); !math.IsInf(v, -1) || !errors.Is(err, strconv.ErrRange) {
		t.Errorf("%v, %v", v, err)
	}
}
