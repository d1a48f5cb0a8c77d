package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"sweepd/analysis"
)

// A report of one device is ranked among all that were tested only where that is asked for;
// what it claims of them is within the same budget.
func TestReportRanksAllDevices(t *testing.T) {
	campaign(t, alone(t))
	out := filepath.Join(t.TempDir(), "report")
	ranked := func(args string) (pictures int, claims []analysis.Claim) {
		t.Helper()
		claims = parsed[struct{ Claims []analysis.Claim }](t, "report --out "+out+" "+args+" --json").Claims
		list, err := filepath.Glob(filepath.Join(out, "charts", "ranking-*-light.svg"))
		if err != nil {
			t.Fatal(err)
		}
		return len(list), claims
	}
	if n, claims := ranked("--device unit-oak"); n != 0 || hasRival(claims) {
		t.Errorf("ranked unasked: %d pictures", n)
	}
	// On mains and on battery.
	if n, claims := ranked("--device unit-oak --all-devices"); n != 2 || !hasRival(claims) {
		t.Errorf("%d pictures, %+v", n, claims)
	}
	page, err := os.ReadFile(filepath.Join(out, "report.html"))
	if err != nil {
		t.Fatal(err)
	}
	if text := string(page); !strings.Contains(text, "All devices tested so far") || !strings.Contains(text, "against unit-oak (= 100 %)") {
		t.Error("the page does not show the ranking")
	}
	if n, _ := ranked("--all-devices --b unit-elm"); n != 2 {
		t.Errorf("against --b: %d pictures", n)
	}
	if n, _ := ranked("--device unit-oak --all-devices --b unit-elm"); n != 2 {
		t.Errorf("a device of which the report is not: %d pictures", n)
	}
	if r := sweepd(t, "report", "--out", out, "--all-devices", "--b", "unit-ash"); r.code != exitFailed || !strings.Contains(r.stderr, "unit-ash") {
		t.Errorf("unknown device: %+v", r)
	}
}

func hasRival(claims []analysis.Claim) bool {
	for _, k := range claims {
		if k.Factor == "device" && k.A == "unit-elm" && k.B == "unit-oak" {
			return true
		}
	}
	return false
}
