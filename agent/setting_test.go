package agent

import (
	"strings"
	"testing"
)

func TestParseSetting(t *testing.T) {
	for text, want := range map[string]string{
		"25W": "25W", "25 W": "25W", "12.5w": "12.5W", "25": "25W", " 7.004W ": "7W", "1000W": "1000W",
		"quiet": "quiet", "low-power": "low-power", "15W-quiet": "15W-quiet", "8-28": "8-28", "fan 2": "fan 2", "W": "W", "2nd": "2nd", "3 fans": "3 fans",
	} {
		s, err := ParseSetting(text)
		if err != nil || s.String() != want || s.Source != Declared || (s.Watts == nil) != (s.Name != "") {
			t.Errorf("%q: got %q (watts %v), %v, want %q", text, s, s.Watts, err, want)
		}
	}
	for text, want := range map[string]string{
		"": "is empty", "0W": "above 0", "-5W": "above 0", "1001W": "at most 1000", "NaN": "above 0", "inf": "above 0",
		"15000mW": "give watts", "0.015 kW": "give watts", "25 watts": "give watts", "25Watt": "give watts", "15 milliwatts": "give watts",
		"50Wh": "give watts", "12,5W": "decimal point", "12,5": "decimal point", "15000000µW": "give watts", "25WW": "give watts", strings.Repeat("x", 201): "at most 200",
	} {
		if s, err := ParseSetting(text); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%.20q: got %+v, %v, want %q", text, s, err, want)
		}
	}
}
