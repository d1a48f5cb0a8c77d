package analysis

import (
	"slices"
	"strings"
	"testing"
)

// A device that does not go below 7 W is compared at 5 W set: the reader must
// know what it drew.
func TestDisobeyedSettingsAreNoted(t *testing.T) {
	var runs []Run
	for _, device := range []string{"unit-oak", "unit-elm"} {
		for _, w := range []float64{5, 10, 15} {
			for rep := range 3 {
				r := Run{ID: device, Device: device, Workload: "harbour-flight", Supply: "mains", SettingW: &w,
					Results: map[string]Result{"score": {Value: w*10 + float64(rep)/10}}}
				p := w
				if device == "unit-oak" && w == 5 {
					p, r.Findings = 7, []string{findingDisobeyed}
				}
				r.PackageW = &p
				runs = append(runs, r)
			}
		}
	}
	notes := func(at string) []string {
		result, err := Compare(runs, CompareRequest{By: "device", A: "unit-oak", B: "unit-elm", At: at})
		if err != nil {
			t.Fatal(err)
		}
		return result.Comparisons[0].Notes
	}
	const want = "unit-oak did not keep to its setting at 5 W (drew 7 W): "
	if !slices.ContainsFunc(notes(AtSetting), func(n string) bool { return strings.HasPrefix(n, want) }) {
		t.Errorf("notes %q, want one that begins with %q", notes(AtSetting), want)
	}
	if slices.ContainsFunc(notes("package"), func(n string) bool { return strings.Contains(n, "did not keep") }) {
		t.Error("at equal measured watts there is nothing to warn of")
	}
}
