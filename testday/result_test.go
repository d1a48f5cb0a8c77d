package testday

import (
	"strings"
	"testing"

	"sweepd/run"
)

func TestParseResult(t *testing.T) {
	for text, want := range map[string]struct {
		name  string
		value float64
		unit  string
	}{
		"fps_mean=61.3fps":      {"fps_mean", 61.3, "fps"},
		"fps_mean=61.3 fps":     {"fps_mean", 61.3, "fps"},
		"fps_mean=68,4fps":      {"fps_mean", 68.4, "fps"},
		"fps_mean=68,4 fps":     {"fps_mean", 68.4, "fps"},
		"loss=-,25":             {"loss", -0.25, ""},
		"score=1234":            {"score", 1234, ""},
		"delta=-1.5e-3 s":       {"delta", -0.0015, "s"},
		"share=.5%":             {"share", 0.5, "%"},
		"rate=5.MB/s":           {"rate", 5, "MB/s"},
		"energy=3e":             {"energy", 3, "e"}, // no exponent follows
		"render time = 12 µs":   {"render time", 12, "µs"},
		"zero=0":                {"zero", 0, ""},
		"per_watt=3.2 fps/W":    {"per_watt", 3.2, "fps/W"},
		"big=1e308":             {"big", 1e308, ""},
		"temp=40.5 °C":          {"temp", 40.5, "°C"},
		"fps \"quoted\"=7 hits": {`fps "quoted"`, 7, "hits"},
	} {
		name, r, err := parseResult(text)
		if err != nil || name != want.name || r != (run.Result{Value: want.value, Unit: want.unit}) {
			t.Errorf("parseResult(%q) = %q, %+v, %v; want %+v", text, name, r, err, want)
		}
	}
}

func TestParseResultRefuses(t *testing.T) {
	for text, want := range map[string]string{
		"fps":                              "not NAME=VALUE",
		"":                                 "not NAME=VALUE",
		"=5":                               "is empty",
		"fps=":                             "not a number",
		"fps=fast":                         "not a number",
		"fps=NaN":                          "not a number",
		"fps=inf":                          "not a number",
		"fps=-Inf":                         "not a number",
		"fps=1,234fps":                     "1,234 may be 1.234 or 1234: write which",
		"fps=1,234,567":                    "not a number",
		"fps=1,5,6":                        "not a number",
		"fps=1,234.5":                      "not a number",
		"fps=1,fps":                        "not a number",
		"fps=1_000":                        "not a number",
		"fps=1.2.3":                        "not a number",
		"fps=0x1f":                         "not a number",
		"fps=--5":                          "not a number",
		"fps=5 6":                          "not a number",
		"fps=1e999":                        "too large",
		"fps=1" + strings.Repeat("s", 41):  "at most 40",
		"a\nb=5":                           "control characters",
		strings.Repeat("n", 10_000) + "=5": "at most 200",
	} {
		name, r, err := parseResult(text)
		if err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("parseResult(%.40q) = %q, %+v, %v; want an error with %q", text, name, r, err, want)
			continue
		}
		if len(err.Error()) > 400 {
			t.Errorf("parseResult(%.40q): error of %d bytes", text, len(err.Error()))
		}
	}
}
