package main

import (
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"sweepd/analysis"
)

// report --json lists what the page may say at its top: fewer and wider than what each
// comparison says of itself, and of settings that both sides keep to.
func TestReportListsItsClaims(t *testing.T) {
	campaign(t, alone(t))
	out := filepath.Join(t.TempDir(), "report")
	text := must(t, "report", "--out", out, "--json")
	var raw struct {
		Page   string
		Files  int
		Claims []map[string]any
	}
	if err := json.Unmarshal([]byte(text), &raw); err != nil {
		t.Fatal(err)
	}
	if raw.Page == "" || raw.Files == 0 || len(raw.Claims) == 0 {
		t.Fatalf("%s", text)
	}
	for _, field := range []string{"metric", "workload", "a", "b", "kind", "from_w", "to_w", "lower", "upper", "diff", "at_w", "verdict", "factor", "device", "supply", "variant"} {
		if _, ok := raw.Claims[0][field]; !ok {
			t.Errorf("a claim lacks %q", field)
		}
	}
	if _, err := os.Stat(filepath.Join(out, "claims.json")); err == nil {
		t.Error("the claims were written into the report's folder")
	}
	claims := parsed[struct{ Claims []analysis.Claim }](t, "report --out "+out+" --json").Claims
	for _, by := range []string{"device", "supply"} {
		for _, c := range parsed[analysis.CompareResult](t, "compare --by "+by+" --json").Comparisons {
			of := slices.DeleteFunc(slices.Clone(claims), func(k analysis.Claim) bool {
				return k.Factor != by || k.A != c.A && k.A != c.B || k.Workload != c.Workload || !sameText(k.Device, c.Device) || !sameText(k.Supply, c.Supply)
			})
			claimsAgree(t, c, of)
		}
	}
	if !slices.ContainsFunc(claims, func(k analysis.Claim) bool { return k.Kind == analysis.ClaimBand }) || !slices.ContainsFunc(claims, func(k analysis.Claim) bool { return k.Kind == analysis.ClaimOverall }) {
		t.Errorf("no band or no mean is claimed: %+v", claims)
	}
}

func sameText(a, b *string) bool { return a == b || a != nil && b != nil && *a == *b }

// claimsAgree holds what is claimed of a comparison against what it says of itself.
func claimsAgree(t *testing.T, c analysis.Comparison, claims []analysis.Claim) {
	t.Helper()
	if len(claims) > 0 && claims[0].A != c.A {
		t.Fatalf("%s and %s are claimed the other way round", c.A, c.B)
	}
	for _, k := range claims {
		switch k.Kind {
		case analysis.ClaimBand:
			n, lower, upper := 0.0, 0.0, 0.0
			for _, s := range c.Settings {
				if s.SettingW < k.FromW || s.SettingW > k.ToW {
					continue
				}
				if s.Verdict != k.Verdict || s.Followed != nil && !*s.Followed {
					t.Errorf("%s, %g W: %s, followed %v, claimed %s", c.Workload, s.SettingW, s.Verdict, s.Followed, k.Verdict)
				}
				n, lower, upper = n+1, lower+math.Log1p(float64(s.Lower)), upper+math.Log1p(float64(s.Upper))
			}
			if n == 0 || !(math.Log1p(float64(k.Lower)) < lower/n && math.Log1p(float64(k.Upper)) > upper/n) {
				t.Errorf("%s: %+v is not wider than its settings", c.Workload, k)
			}
		case analysis.ClaimOverall:
			if o := c.OverallFollowed; o == nil || k.Diff != o.Diff || !(k.Lower < o.Lower && k.Upper > o.Upper) {
				t.Errorf("%s: mean %+v, claimed %+v", c.Workload, o, k)
			}
		case analysis.ClaimCrossing:
			if !slices.ContainsFunc(c.CrossingsFollowed, func(x analysis.Crossing) bool {
				return x.AtW == k.AtW && k.FromW <= x.LowerW && k.ToW >= x.UpperW
			}) {
				t.Errorf("%s: crossings %+v, claimed %+v", c.Workload, c.CrossingsFollowed, k)
			}
		}
	}
}
