package report

import (
	"strings"
	"testing"

	"sweepd/frames"
	"sweepd/report/sentence"
)

func TestEveryResultOfAFrameLogHasWords(t *testing.T) {
	times := frames.NewTimes(0.04)
	for i := range 2000 {
		times.Add(0.016 + 0.001*float64(i%3))
	}
	summary, err := times.Summary()
	if err != nil {
		t.Fatal(err)
	}
	results := summary.Results()
	if len(results) < 8 {
		t.Fatalf("%d results of a frame log, want at least 8", len(results))
	}
	for _, r := range results {
		if words := sentence.MetricName(r.Name); words == r.Name || strings.Contains(words, "_") {
			t.Errorf("%s has no words: %q", r.Name, words)
		}
	}
}
