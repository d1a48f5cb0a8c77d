package run

import (
	"encoding/json"
	"math"
	"strings"
	"testing"
)

func TestParseSetting(t *testing.T) {
	for text, want := range map[string]string{
		"25W": "25W", "25 W": "25W", "12.5w": "12.5W", "12,5W": "12.5W", "12,5 w": "12.5W", "7,5": "7.5W", "25": "25W", " 7.004W ": "7W", "1000W": "1000W",
		"quiet": "quiet", "low-power": "low-power", "15W-quiet": "15W-quiet", "8-28": "8-28", "fan 2": "fan 2", "W": "W", "2nd": "2nd", "3 fans": "3 fans",
	} {
		s, err := ParseSetting(text)
		if err != nil || s.String() != want || s.inWatts != (s.Name() == "") {
			t.Errorf("%q: got %+v, %v, want %q", text, s, err, want)
		}
	}
	for text, want := range map[string]string{
		"": "is empty", "0W": "above 0", "-5W": "above 0", "1001W": "at most 1000", "NaN": "above 0", "inf": "above 0",
		"15000mW": "give watts", "0.015 kW": "give watts", "25 watts": "give watts", "25Watt": "give watts", "15 milliwatts": "give watts",
		"50Wh": "give watts", "1,234W": "1,234 may be 1.234 or 1234", "1,2,3": "above 0", "15000000µW": "give watts", "25WW": "give watts", strings.Repeat("x", 201): "at most 200",
		"1_000": "above 0", "1_0W": "above 0", "1 000": "above 0", "0x10": "above 0", "0x1p4W": "above 0", "1e999": "above 0",
		"nan-nan/nan": "above 0", "8-28/4": "above 0", "8W - infW / 4W": "above 0", "1e1-2e1/1": "above 0",
	} {
		if s, err := ParseSetting(text); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%.20q: got %+v, %v, want %q", text, s, err, want)
		}
	}
}

func TestSettingsAreEqualByLevel(t *testing.T) {
	if Watts(15.004) != Watts(15) || Watts(15.01) == Watts(15) || Named("15W") == Watts(15) {
		t.Error("watts count to the hundredth, and a name is no number of watts")
	}
	if (Setting{}).Known() || !Watts(0).Known() || !Named("quiet").Known() {
		t.Error("only the zero Setting is unknown")
	}
	for in, want := range map[float64]float64{15: 15, 15.006: 15.01, 1e300: 1e300, math.NaN(): 0, math.Inf(1): 0, math.Inf(-1): 0} {
		if w, ok := Watts(in).Watts(); w != want || !ok || Watts(in).Name() != "" {
			t.Errorf("%v W are kept as %v, %v", in, w, ok)
		}
	}
	if w, ok := Named("quiet").Watts(); w != 0 || ok {
		t.Errorf("a name has %v W, %v", w, ok)
	}
	for s, want := range map[Setting]bool{Watts(15): true, Named("quiet"): true, Named("turbo"): false, {}: false} {
		if s.Ordered() != want {
			t.Errorf("the place of %q among others is known: %v, want %v", s, s.Ordered(), want)
		}
	}
	if !Watts(15.004).Equal(Watts(15)) || Watts(15).Equal(Named("15W")) {
		t.Error("Equal is not as ==")
	}
	order := []Setting{Watts(8), Watts(25), Named("low-power"), Named("performance"), Named("a"), Named("b")}
	for i := range order {
		for j := range order {
			if got := order[i].Compare(order[j]); (got < 0) != (i < j) || (got > 0) != (i > j) {
				t.Errorf("%s against %s: %d", order[i], order[j], got)
			}
		}
	}
}

func TestSettingAsJSON(t *testing.T) {
	for want, s := range map[string]SourcedSetting{
		`{"watts":12.5,"name":"","source":"firmware"}`:      Watts(12.5).From(Firmware),
		`{"watts":null,"name":"quiet","source":"declared"}`: Named("quiet").From(Declared),
		`{"watts":null,"name":"","source":""}`:              {},
	} {
		text, err := json.Marshal(s)
		if err != nil || string(text) != want {
			t.Errorf("got %s, %v, want %s", text, err, want)
		}
		var back SourcedSetting
		if err := json.Unmarshal(text, &back); err != nil || back != s {
			t.Errorf("%s became %+v, %v", text, back, err)
		}
	}
	// By itself it is one that a user wrote down.
	for want, s := range map[string]Setting{
		`{"watts":12.5,"name":"","source":"declared"}`:      Watts(12.5),
		`{"watts":null,"name":"quiet","source":"declared"}`: Named("quiet"),
		`{"watts":null,"name":"","source":""}`:              {},
	} {
		text, err := json.Marshal(s)
		if err != nil || string(text) != want {
			t.Errorf("got %s, %v, want %s", text, err, want)
		}
		back := Watts(99)
		if err := json.Unmarshal(text, &back); err != nil || back != s {
			t.Errorf("%s became %+v, %v", text, back, err)
		}
	}
	for _, text := range []string{`7`, `{"watts":"15"}`, `[]`} {
		var s Setting
		var sourced SourcedSetting
		if json.Unmarshal([]byte(text), &s) == nil || json.Unmarshal([]byte(text), &sourced) == nil {
			t.Errorf("%s is taken for %v and %v", text, s, sourced)
		}
	}
}
