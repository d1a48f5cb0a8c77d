package report

import (
	"strings"
	"testing"
)

func TestPublishedLeavesOrdersOut(t *testing.T) {
	for text, want := range map[string]string{
		"1 runs differ from their repeats; they stay in all numbers until you reject them":       "1 run differs from its repeats; it stays in all numbers",
		"11 runs differ from their repeats; they stay in all numbers until you reject them":      "11 runs differ from their repeats; they stay in all numbers",
		"by nature the devices also differ in battery (sweepd run show lists the facts)":         "by nature the devices also differ in battery",
		"1 departures rest on a single run, which cannot tell a dip from a bad run: repeat them": "1 departure rests on a single run, which cannot tell a dip from a bad run",
	} {
		if got := published(text); got != want {
			t.Errorf("got %q, want %q", got, want)
		}
	}
}

// The page of runs of which one is unlike its repeats and some did not keep to
// their setting orders nobody about.
func TestPageGivesNoOrders(t *testing.T) {
	runs := plant(12, oakAndElm()...)
	for i := range runs {
		r := &runs[i]
		r.Facts = map[string]string{"host_model": r.Device}
		if r.Device == "unit-oak" && *r.SettingW < 7 {
			r.Findings = append(r.Findings, "setting_disobeyed")
		}
	}
	odd := runs[5].Results["fps_mean"]
	odd.Value *= 0.8
	runs[5].Results["fps_mean"] = odd
	p := compose(t, runs, Questions{})
	text := checkPage(t, p)
	for _, bad := range []string{"sweepd run", "--at", "--metric", "reject what", "you reject", "1 runs"} {
		if strings.Contains(text, bad) {
			t.Errorf("the page holds %q: %s", bad, text[max(0, strings.Index(text, bad)-150):strings.Index(text, bad)+60])
		}
	}
	for _, want := range []string{"Unlike their repeats, and counted all the same", "differ from their repeats; they stay in all numbers</li>", "by nature the devices also differ in model"} {
		if !strings.Contains(text, want) {
			t.Errorf("the page lacks %q", want)
		}
	}
}
