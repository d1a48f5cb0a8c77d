package run

import (
	"errors"
	"math"
	"strconv"
	"testing"
)

func TestParseNumber(t *testing.T) {
	for text, want := range map[string]float64{"12.5": 12.5, "-3": -3, "+.5": 0.5, "5.": 5, "1e3": 1000, "1.5E-3": 0.0015, "010": 10, "1e-999": 0,
		"68,4": 68.4, "-12,5": -12.5, ",5": 0.5, "0,123": 0.123, "1234,567": 1234.567, "1,2345": 1.2345, "1,5e3": 1500, "16,66": 16.66} {
		if v, err := ParseNumber(text); v != want || err != nil {
			t.Errorf("%s: %v, %v", text, v, err)
		}
	}
	for _, text := range []string{"", "1_000", "0x10", "0x1p4", "NaN", "inf", "-Infinity", "1,", ",", "1.234,5", "1,234.5", "1,234,567", "1,,5", " 1", "1e", "e", "1 000", "١"} {
		if v, err := ParseNumber(text); !errors.Is(err, strconv.ErrSyntax) {
			t.Errorf("%q: %v, %v", text, v, err)
		}
	}
	for text, hint := range map[string]string{"1,234": " (1,234 may be 1.234 or 1234: write which)", "-12,345": " (-12,345 may be -12.345 or -12345: write which)", "999,000e2": " (999,000e2 may be 999.000e2 or 999000e2: write which)"} {
		if v, err := ParseNumber(text); !errors.Is(err, ErrThousands) || !errors.Is(err, strconv.ErrSyntax) || ThousandsHint(err) != hint {
			t.Errorf("%q: %v, %v, %q", text, v, err, ThousandsHint(err))
		}
	}
	if _, err := ParseNumber("1_000"); ThousandsHint(err) != "" {
		t.Error("a hint where there is no comma")
	}
	if v, err := ParseNumber("-1e999"); !math.IsInf(v, -1) || !errors.Is(err, strconv.ErrRange) {
		t.Errorf("%v, %v", v, err)
	}
}
