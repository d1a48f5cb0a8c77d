package run

import (
	"encoding/json"
	"strings"
	"testing"
)

func TestParseVariant(t *testing.T) {
	v, err := ParseVariantPairs([]string{"cores=6", "fan=loud=er", "cores=6"})
	if err != nil || v != "cores=6,fan=loud=er" {
		t.Errorf("got %v, %v", v, err)
	}
	if v, err := ParseVariantPairs(nil); v != "" || err != nil {
		t.Errorf("no pairs: got %v, %v", v, err)
	}
	for pair, want := range map[string]string{
		"cores": "not a pair", "=6": "empty", "cores=": "empty", "a,b=1": "may not hold", "a=1,2": "may not hold",
	} {
		if _, err := ParseVariantPairs([]string{pair}); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: got %v, want %q", pair, err, want)
		}
	}
	if _, err := ParseVariantPairs([]string{"cores=6", "cores=8"}); err == nil || !strings.Contains(err.Error(), "given twice") {
		t.Errorf("contradiction: %v", err)
	}
}

// The ends of what a pair may be.
func TestCheckVariantPair(t *testing.T) {
	for _, c := range []struct{ k, v, want string }{
		{"cores", "6", ""}, {"fan", "a=b", ""}, {strings.Repeat("k", 200), strings.Repeat("v", 200), ""},
		{"", "6", "variant key is empty"}, {"cores", "", "value of variant cores is empty"},
		{strings.Repeat("k", 201), "v", "variant key has 201 bytes"}, {"cores", strings.Repeat("v", 201), "value of variant cores has 201 bytes"},
		{"a=b", "c", "may not hold"}, {"a,b", "c", "may not hold"}, {"a", "b,c", "may not hold"},
	} {
		refused(t, c.k+" and "+c.v, checkVariantPair(c.k, c.v), c.want)
	}
	for text, want := range map[string]string{"": "", "  ": "", "cores=6,": "not a pair", "cores": "not a pair"} {
		v, err := ParseVariant(text)
		refused(t, text, err, want)
		if v != "" {
			t.Errorf("%q is the variant %q", text, v)
		}
	}
	seen := 0
	for range Variant("a=1,b=2,c=3").Pairs() {
		if seen++; seen == 2 {
			break
		}
	}
	if pairs := Variant("a=1,b=2").Map(); len(pairs) != 2 || pairs["b"] != "2" || Variant("").Map() == nil || seen != 2 {
		t.Errorf("pairs %v, seen %d", pairs, seen)
	}
}

func TestVariantPairs(t *testing.T) {
	v, err := ParseVariant(" smt=off, cores=6 ")
	if err != nil || v != "cores=6,smt=off" {
		t.Fatalf("got %q, %v", v, err)
	}
	if x, ok := v.Get("smt"); x != "off" || !ok {
		t.Errorf("smt is %q, %v", x, ok)
	}
	if _, ok := v.Get("fan"); ok {
		t.Error("there is no fan")
	}
	if v.Without("smt") != "cores=6" || v.Without("fan") != v || Variant("").Without("fan") != "" {
		t.Errorf("without: %q, %q", v.Without("smt"), v.Without("fan"))
	}
	if !v.Contains("cores=6") || !v.Contains("") || v.Contains("cores=8") || v.Contains("fan=loud") {
		t.Error("contains")
	}
}

func TestVariantAsJSON(t *testing.T) {
	for _, v := range []Variant{"", "cores=6", "cores=6,smt=off"} {
		text, err := json.Marshal(v)
		if err != nil {
			t.Fatal(err)
		}
		var back Variant
		if err := json.Unmarshal(text, &back); err != nil || back != v {
			t.Errorf("%q became %s, then %q, %v", v, text, back, err)
		}
	}
	if text, _ := json.Marshal(Variant("")); string(text) != "{}" {
		t.Errorf("no variant is %s", text)
	}
	var v Variant
	for _, text := range []string{"7", `{"cores": 6}`} {
		if err := json.Unmarshal([]byte(text), &v); err == nil || v != "" {
			t.Errorf("%s is taken for %q", text, v)
		}
	}
	if v = "cores=6"; json.Unmarshal([]byte("null"), &v) != nil || v != "" {
		t.Errorf("null is the variant %q", v)
	}
	if err := json.Unmarshal([]byte(`{"a,b": "1"}`), &v); err == nil || !strings.Contains(err.Error(), "may not hold") {
		t.Errorf("a comma in a key: %v", err)
	}
}
