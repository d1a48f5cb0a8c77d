package report

import (
	"strings"
	"testing"

	"sweepd/run"
)

// The page of runs of which one is unlike its repeats and some did not keep to
// their setting says so once each, in words for readers, and orders nobody about:
// they can do nothing with commands.
func TestPageGivesNoOrders(t *testing.T) {
	runs := plant(12, oakAndElm()...)
	for i := range runs {
		r := &runs[i]
		r.Facts = map[string]string{"host_model": r.Device, "memory_total_bytes": "17179869184"}
		if r.Device == "unit-oak" {
			r.Facts["memory_total_bytes"] = "8589934592"
			if w, _ := r.Setting.Watts(); w < 7 {
				r.Findings = append(r.Findings, run.Finding{Code: run.SettingDisobeyed})
			}
		}
	}
	odd := runs[5].Results["fps_mean"]
	odd.Value *= 0.8
	runs[5].Results["fps_mean"] = odd
	p := compose(t, runs, Questions{})
	text := checkPage(t, p)
	for _, bad := range []string{"sweepd run", "--at", "--metric", "--full-energy", "reject it", "reject those", "reject what", "repeat it", "run it again", "Look at", "look first", "1 runs", "1 departures",
		"their repeats and stay", "its repeats and stays", "keep to its setting, so equal settings are not equal power there</li>", "host_model", "memory_total_bytes", "analysis."} {
		if i := strings.Index(text, bad); i >= 0 {
			t.Errorf("the page holds %q: %s", bad, text[max(0, i-150):i+60])
		}
	}
	for _, want := range []string{"Unlike its repeats, and counted all the same", ": equal settings are not equal power there.",
		"besides, the devices differ in model</li>", "besides, different memory: 16.0 GiB with unit-elm, 8.00 GiB with unit-oak</li>"} {
		if !strings.Contains(text, want) {
			t.Errorf("the page lacks %q", want)
		}
	}
}
